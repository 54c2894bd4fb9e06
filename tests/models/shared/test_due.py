"""Who was due and who was lost, worked by hand at each edge."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.shared.due import closing_month, lost_before, month_in_words, reachable_months, seen_at


def sites(*years, placement=None) -> pd.DataFrame:
    table = pd.DataFrame({"site_id": [f"S{i}" for i in range(len(years))], "surgery_year": years})
    return table if placement is None else table.assign(placement=placement)


def visits(*rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["site_id", "months", "status"])


@pytest.mark.parametrize(
    ("data_until", "year", "months"),
    [
        ("2025-12", 2024, 12),  # placed on 31 December 2024 at the latest, closed on 31 December 2025
        ("2025-11", 2024, 11),
        ("2025-06", 2023, 18),
        ("2024-12", 2024, 0),
        ("2024-01", 2024, -11),  # even the placement may lie after the closing
    ],
)
def test_how_far_follow_up_could_have_reached(data_until, year, months):
    closed = closing_month(data_until, sites(year), visits())
    assert reachable_months(sites(year), closed).tolist() == [months]
    assert month_in_words(closed) == data_until


def test_an_implant_placed_at_a_second_operation_has_a_year_more():
    table = sites(2020, 2020, 2020, placement=["same_day", "staged", None])
    assert reachable_months(table, closing_month("2025-12", table, visits())).tolist() == [60, 48, 60]


def test_the_tables_imply_the_latest_month_that_a_visit_cannot_lie_before():
    """S0: 1 January 2018 + 95.9 months is in December 2025; S1: 2024 + 12 months is January 2025."""
    table = sites(2018, 2024)
    seen = visits(("S0", 95.9, "functioning"), ("S1", 12.0, "not_examined"), ("stranger", 500.0, "functioning"))
    assert month_in_words(closing_month("", table, seen)) == "2025-12"
    assert month_in_words(closing_month("", table, visits())) == "2024-01"  # somebody was operated on in 2024


def test_months_worked_out_from_dates_fall_into_their_month():
    """3 x 0.1 months too few by the last bit: 11.999999999999999 is 12."""
    seen = visits(("S0", np.nextafter(12.0, 0), "functioning"))
    assert month_in_words(closing_month("", sites(2024), seen)) == "2025-01"


def test_where_no_year_is_known_nothing_is_due():
    table = sites(np.nan)
    closed = closing_month("", table, visits(("S0", 12.0, "functioning")))
    assert month_in_words(closed) == ""
    assert not (reachable_months(table, closed) >= 0).any()
    assert np.isnan(reachable_months(table.drop(columns="surgery_year"), 24300.0)).all()


@pytest.mark.parametrize(
    ("time", "failed", "died", "reachable", "lost"),
    [
        (32.9, False, False, 39, True),
        (33.0, False, False, 39, False),  # the visit of month 36, three months early
        (0.0, False, False, 39, True),
        (32.9, False, False, 38, False),  # not yet due: its visit may still come
        (32.9, False, False, np.nan, False),
        (32.9, True, False, 60, False),
        (32.9, False, True, 60, False),  # a death before
        (np.nan, False, False, 60, False),  # never seen
    ],
)
def test_who_is_lost_before_month_36(time, failed, died, reachable, lost):
    arrays = (np.array([value]) for value in (time, failed, died, float(reachable)))
    assert lost_before(36, *arrays).tolist() == [lost]


@pytest.mark.parametrize(
    ("months", "status", "seen"),
    [
        (9.0, "functioning", True),
        (8.9, "functioning", False),
        (15.0, "functioning", True),
        (15.1, "functioning", False),
        (12.0, "not_examined", False),
        (12.0, "failed", True),
        (3.0, "failed", True),
        (15.0, "failed", True),
        (15.1, "failed", False),
        (3.0, "patient_died", True),
        (15.1, "patient_died", False),
    ],
)
def test_of_whom_it_is_known_how_they_fared_at_month_12(months, status, seen):
    assert seen_at(12, sites(2020, 2020), visits(("S1", months, status))).tolist() == [False, seen]

"""The shares of sites perforated, drawn and said: marks, what is withheld, columns of many levels."""

import numpy as np
import pandas as pd
import pytest
from made_tables import made_cases

from liftseries.base.remarks import WITHHELD, WITHHELD_COUNT
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.report.perforation.figures import draw_perforation_shares
from liftseries.report.perforation.sentences import of_sites


def rates_of_a_series() -> pd.DataFrame:
    """Of a series in which every fourth site is perforated, by approach."""
    cases = made_cases(80, 3, ("guided", "freehand"), log=False)
    cases["perforation"] = np.where(np.arange(len(cases)) % 4 == 0, "yes", "no")
    return fit_perforation_rate(cases, ["approach"]).rows


def test_where_at_most_one_patient_has_the_outcome_the_interval_is_marked():
    cases = pd.DataFrame({"patient_id": range(30), "perforation": "no", "approach": ["guided", "freehand"] * 15})
    cases["protocol"] = ["A"] * 6 + ["B"] * 24
    cases.loc[[0, 8, 10, 12, 14, 16], "perforation"] = "yes"
    drawing = draw_perforation_shares(fit_perforation_rate(cases, ["approach", "protocol"]).rows)
    texts = [text.get_text() for text in drawing.figure.texts]
    assert "1/6 *" in texts  # one patient among six
    assert "0/15 *" in texts
    assert "at most 18.1%" in texts  # 1 - 0.05^(1/15)
    assert "6/30" in texts
    assert any(text.startswith("* Open marker: at most one patient has the outcome") for text in texts)
    without = draw_perforation_shares(rates_of_a_series())
    assert not any("Open marker" in text.get_text() for text in without.figure.texts)


@pytest.mark.parametrize(("n_centres", "drawn"), [(30, True), (31, False)])
def test_a_column_of_many_levels_is_named_below_the_figure(n_centres, drawn):
    cases = pd.DataFrame({"patient_id": range(620), "perforation": ["yes", "no"] * 310})
    cases["approach"] = ["guided", "guided", "freehand", "freehand"] * 155
    cases["centre"] = [f"C{number % n_centres}" for number in range(620)]
    drawing = draw_perforation_shares(fit_perforation_rate(cases, ["approach", "centre"]).rows)
    texts = [text.get_text() for text in drawing.figure.texts]
    assert sum(text.startswith("Centre: ") for text in texts) == (n_centres if drawn else 0)
    assert "Approach: guided" in texts
    note = "Not drawn, for their number: centre (31 levels); the supplement has their shares."
    assert (note in texts) is not drawn
    assert drawing.alt.endswith(note) is not drawn
    assert ("Centre: C3" in drawing.alt) is drawn


def test_a_share_withheld_has_neither_mark_nor_number_in_the_figure():
    rates = rates_of_a_series()
    hidden = rates["subset"].eq("approach=guided") & rates["method"].eq("patients")
    shown = rates.loc[hidden].iloc[0]
    numbers = ["estimate", "std_error", "conf_low", "conf_high"]
    rates.loc[hidden, [*numbers, "n_events"]] = [*[np.nan] * 4, WITHHELD_COUNT]
    rates.loc[hidden, "problem"] = WITHHELD
    drawing = draw_perforation_shares(rates)
    texts = [text.get_text() for text in drawing.figure.texts]
    assert f"–/{shown['n_sites']}" in texts
    assert "Approach: guided –/" in drawing.alt
    assert f"{shown['n_events']}/{shown['n_sites']}" not in " ".join([*texts, drawing.alt])


def test_a_share_of_few_has_the_bound_in_the_figure_that_the_table_tells():
    rates = rates_of_a_series()
    few = rates["subset"].eq("approach=guided") & rates["method"].eq("patients")
    rates.loc[few, ["estimate", "std_error", "conf_low", "conf_high", "n_events"]] = [np.nan, np.nan, 0.0, 0.14, -5.0]
    rates.loc[few, "problem"] = WITHHELD
    drawing = draw_perforation_shares(rates)
    assert "at most 14.0%" in [text.get_text() for text in drawing.figure.texts]
    assert "at most 14.0%" in drawing.alt


@pytest.mark.parametrize(
    ("n_events", "said"),
    [
        (17, "17 of at most 113 sites, 15.0% or more"),
        (0, "0 of at most 113 sites"),  # none or more says nothing
        (-5, "<5 of at most 113 sites"),
    ],
)
def test_a_share_of_a_withheld_number_of_sites_is_said_by_those_of_the_series(n_events, said):
    assert of_sites({"n_sites": WITHHELD_COUNT, "n_events": n_events}, 113) == said

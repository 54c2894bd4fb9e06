"""Lengths a tenth or the tenfold of their column's are told and stay as they are."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from studies import tables, write_study

from liftseries.intake.checks.tenfold import tenfold
from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan

HEIGHTS_MM = [4.1, 5.2, 6.0, 4.8, 5.5, 7.1, 3.9, 5.0, 6.4]


@pytest.mark.parametrize(("typed", "factor"), [(0.52, 10.0), (0.48, 10.0), (52.0, 0.1)])
def test_a_step_of_the_decimal_mark_is_found(typed, factor):
    indices, factors = tenfold(np.array([*HEIGHTS_MM[:4], typed, *HEIGHTS_MM[4:], np.nan]))
    assert (indices.tolist(), factors.tolist()) == ([4], [factor])


def test_worked_by_hand():
    """Nine lengths of 10 and one of 1: spread at its least, 0.05; z of 1 is -1 / 0.05 = -20, of 10 is 0."""
    assert tenfold(np.array([10.0] * 9 + [1.0]))[0].tolist() == [9]
    # 1.3 would be 13: log10(1.3) = 0.114, z = 2.28, not among the others any more
    assert tenfold(np.array([10.0] * 9 + [1.3]))[0].tolist() == []


@pytest.mark.parametrize(
    "values",
    [
        HEIGHTS_MM,
        [*HEIGHTS_MM, 2.0],  # low, but no tenth of anything
        [*HEIGHTS_MM, 0.01],  # a hundredth
        [0.52, *HEIGHTS_MM[:6]],  # too few to tell
        [*HEIGHTS_MM, 0.0, -1.0, np.nan],
        [0.3, 1.0, 3.0, 10.0, 30.0, 0.5, 5.0, 20.0],  # spread over decades
    ],
)
def test_others_are_left_in_peace(values):
    assert tenfold(np.array(values))[0].tolist() == []


@given(st.lists(st.floats(4.5, 5.5), min_size=10, max_size=40), st.floats(0.45, 0.55))
def test_millimetres_are_never_told_and_one_in_centimetres_always(lengths, in_cm):
    """log10(5.5 / 4.5) is 0.087, within 2 times the least spread of 0.05."""
    assert not len(tenfold(np.array(lengths))[0])
    assert tenfold(np.array([*lengths, in_cm]))[0].tolist() == [len(lengths)]


def test_study_keeps_the_length_and_tells_it(tmp_path):
    sites = tables()["sites"]
    many = [sites.assign(site_id=sites["site_id"] + f"-{copy}") for copy in range(4)]
    stacked = pd.concat(many, ignore_index=True)
    stacked.loc[5, "rbh_min_mm"] = "0.52"
    folder = write_study(tmp_path, {"sites": lambda _: stacked, "steps": lambda t: t[:0], "visits": lambda t: t[:0]})
    intake, problems = check_study(read_plan(folder))
    assert problems == []
    assert intake.tables["sites"]["rbh_min_mm"][5] == 0.52
    (told,) = intake.decisions.itertuples()
    assert (told.place, told.rule) == ("sites.csv, row 7, rbh_min_mm", "tenfold_length_is_told")
    assert "5.2 mm if it was typed in cm" in told.taken_for

"""Questions answered from tables, and what of it is written."""

from __future__ import annotations

import pandas as pd
import pytest

from liftseries.base.outputs import write_csv
from liftseries.engine.answer import answer, read_draws
from liftseries.models.questions import question
from liftseries.models.shared.question import Leaves, Question
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table


def some_estimates(cases: pd.DataFrame) -> Estimates:
    fit = Fit("perforation.gee", "all", "log_odds", "GEE", len(cases), 5, 2)
    rows, effects = [fit.wald_row("a", 1.0, 0.5)], [fit.design_effect_row("a", 0.5, 0.25)]
    left_out = left_out_table("perforation.gee", "all", [("perforation unknown", 3)])
    return Estimates(results_table(rows), left_out, design_effects=results_table(effects))


def some_table(cases: pd.DataFrame) -> pd.DataFrame:
    return cases.assign(seen=True)


def test_design_effects_stand_below_their_estimates():
    asked = Question(
        name="made_up",
        says="",
        function=f"{__name__}:some_estimates",
        reads={"cases": "cases"},
        analyses=question("perforation_gee").analyses,
    )
    left = answer(asked, {"cases": pd.DataFrame({"site_id": range(9)})}.__getitem__, {})
    assert left["made_up"]["analysis"].tolist() == ["perforation.gee", "clustering.design_effect"]
    assert left["made_up"]["term"].tolist() == ["a", "perforation.gee a"]
    assert left["made_up"]["estimate"].tolist() == [1, 4]
    assert left["made_up.left_out"]["n_sites"].tolist() == [3]


def test_a_question_without_estimates_leaves_its_table():
    asked = Question(
        name="made_up",
        says="",
        function=f"{__name__}:some_table",
        reads={"cases": "cases"},
        leaves=(Leaves("seen", "", "site_id seen"),),
    )
    left = answer(asked, {"cases": pd.DataFrame({"site_id": [1, 2]})}.__getitem__, {})
    assert list(left) == ["seen"]
    assert left["seen"]["seen"].all()


def test_draws_are_read_in_the_order_of_their_jobs(tmp_path):
    for k in (0, 1):
        write_csv(tmp_path / f"{k}.csv", pd.DataFrame({"replicate": [2 * k, 2 * k + 1]}))
    assert read_draws([tmp_path / "0.csv", tmp_path / "1.csv"])["replicate"].tolist() == [0, 1, 2, 3]


def test_unknown_question_is_an_error():
    with pytest.raises(KeyError):
        question("nobody_asked")

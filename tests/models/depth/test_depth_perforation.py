"""Perforations with and without a deviation: shares by hand, and whom they leave out."""

import numpy as np
import pandas as pd
import pytest

from liftseries.models.depth.behind import perforation
from liftseries.models.depth.perforation import fit_depth_perforation
from liftseries.models.shared.behind import Row
from liftseries.models.shared.population import Population

AS_PLANNED, DEVIATED = "drilled_as_planned=yes", "drilled_as_planned=no"


@pytest.fixture
def cases():
    """Six sites of three patients as planned, two torn; three with a deviation, one torn; two of which too little is
    known: one was not judged, of one (as planned) nobody looked at the membrane."""
    as_drilled = ["plan"] * 6 + ["not_plan"] * 3 + [None, "plan"]
    return pd.DataFrame(
        {
            "site_id": [f"s{k}" for k in range(11)],
            "patient_id": list("ppqqrr") + list("pqr") + list("pq"),
            "as_drilled": pd.Categorical(as_drilled, ["plan", "not_plan"]),
            "perforation": ["yes", "no", "yes", "no", "no", "no", "yes", "no", "no", "yes", "unknown"],
        }
    )


def test_shares_of_those_drilled_as_planned_and_of_the_others(cases):
    """2 of 6: sums over the patients 1 - 2/3, 1 - 2/3, 0 - 2/3; two patients have a perforation, three have a site
    without one: SE² = 2/1 · (1/9 + 1/9 + 4/9) / 36 = 1/27. 1 of 3: one patient has the outcome, no such SE."""
    rows = fit_depth_perforation(cases).rows.set_index("subset")
    assert rows["term"].eq("rate").all()
    assert rows["method"].eq("patients").all()
    assert rows.loc[AS_PLANNED, ["n_events", "n_sites", "n_patients"]].tolist() == [2, 6, 3]
    assert rows.loc[AS_PLANNED, "estimate"] == pytest.approx(1 / 3)
    assert rows.loc[AS_PLANNED, "std_error"] == pytest.approx(np.sqrt(1 / 27))
    # t(2) = 4.302653: logit(1/3) = -0.6931, half its interval 4.302653 · 0.19245 / (2/9) = 3.72621.
    assert rows.loc[AS_PLANNED, ["conf_low", "conf_high"]].tolist() == pytest.approx([0.01190, 0.95405], abs=1e-5)
    assert rows.loc[DEVIATED, ["n_events", "n_sites", "n_patients"]].tolist() == [1, 3, 3]
    assert rows.loc[DEVIATED, "estimate"] == pytest.approx(1 / 3)
    assert pd.isna(rows.loc[DEVIATED, "std_error"])
    assert rows["headline"].all()


def test_who_is_left_out_stands_under_one_reason(cases):
    table = fit_depth_perforation(cases).left_out
    assert table[["subset", "reason", "n_sites"]].values.tolist() == [
        ["all", "as_drilled unknown", 1],
        ["all", "perforation unknown", 1],
    ]


def test_without_a_log_there_is_no_share(cases):
    estimates = fit_depth_perforation(cases.assign(as_drilled=pd.Categorical([None] * 11, ["plan", "not_plan"])))
    assert estimates.rows["estimate"].isna().all()
    assert not estimates.rows["headline"].any()
    assert estimates.rows["problem"].eq("there is no such site").all()
    assert estimates.left_out["n_sites"].tolist() == [11]


def test_who_stands_behind_a_share_is_who_was_counted(cases):
    empty = pd.DataFrame({"site_id": []})
    population = Population({}, cases, empty, empty)
    for row in fit_depth_perforation(cases).rows.itertuples():
        found = perforation(population, Row(row.analysis, row.subset, row.term, row.method))
        counts = {name: int(counted.members.sum()) for name, counted in found.counts.items() if counted.unit == "sites"}
        assert counts["n_sites"] == row.n_sites
        assert counts["n_events"] == row.n_events


def everything(cases: pd.DataFrame) -> pd.DataFrame:
    """With the columns that other analyses of depths ask for, all empty."""
    from liftseries.geometry.deviations import DEVIATIONS, ENDED

    flags = {name: pd.array([pd.NA] * len(cases), dtype="boolean") for name in DEVIATIONS}
    depths = dict.fromkeys(("achieved_last_mm", "planned_last_mm"), np.nan)
    return cases.assign(ended=pd.Categorical([None] * len(cases), ENDED), **depths, **flags)

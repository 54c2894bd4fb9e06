"""What a comparison's rows say beside their numbers: scales, methods, notes, and whom a refusal names."""

from __future__ import annotations

import pandas as pd
import pytest
from groups_compared import perforation, row, table
from invented import invented_cases, invented_visits

from liftseries.base.remarks import names_in
from liftseries.models.comparison.drilling import fit_comparison_drilling
from liftseries.models.comparison.gain import fit_comparison_gain
from liftseries.models.comparison.perforation import fit_comparison_perforation
from liftseries.models.comparison.survival import fit_comparison_survival
from liftseries.models.comparison.who import entangled
from liftseries.models.shared.follow_up import follow_up

ASKED = {
    "groups": "protocol",
    "reference": "A",
    "adjust_for": ["rbh_mid_mm", "no_such_column"],
    "weights": ["overlap", "inverse_probability"],
}
SHARE = {"risk": "risk", "difference": "risk_difference"}
MONTHS = {"rmst at 12": "months", "difference at 12": "months"}
SURVIVAL = {"survival at 12": "probability", "difference at 12": "probability_difference"}
SCALES = {  # analysis -> term without its level -> scale
    "comparison.perforation": SHARE | {"ratio": "log_risk_ratio"},
    "comparison.adherence": SHARE,
    "comparison.deeper": SHARE,
    "comparison.depth_error": {"difference": "mm"},
    "comparison.depth_error_size": {"difference": "mm"},
    "comparison.gain": {"difference": "mm"},
    "comparison.survival": SURVIVAL,
    "comparison.rmst": MONTHS,
    "comparison.detectable": {"difference": "risk_difference"},
    "comparison.evalue": {"ratio": "E-value", "limit": "E-value"},
    "comparison.balance": {"rbh_mid_mm": "smd"},
    "comparison.sample": {"effective_patients": "count", "effective_sites": "count", "near_edge": "share"},
}
WEIGHTED = {"overlap", "inverse_probability"}
METHODS = {  # of those that have others than all four
    "comparison.detectable": {"power"},
    "comparison.evalue": {"risk_ratio"},
    "comparison.balance": {"crude", *WEIGHTED},
    "comparison.sample": WEIGHTED,
}


def rows_of(cases: pd.DataFrame, **asked) -> pd.DataFrame:
    """All rows of a comparison; the level goes from each term."""
    visits, asked = invented_visits(cases, 32), ASKED | asked
    implants = follow_up(visits, cases).implants
    found = [
        fit_comparison_perforation(cases, **asked),
        fit_comparison_survival(implants, cases, [12], **asked),
        fit_comparison_gain(visits, cases, **asked),
        fit_comparison_drilling(cases, **asked),
    ]
    rows = pd.concat([one.rows for one in found], ignore_index=True)
    return rows.assign(kind=rows["term"].str.replace(r"\[.*\]", "", regex=True))


def test_each_term_has_its_scale_its_methods_and_its_notes():
    """The crude rows are adjusted for nothing, and name no term that they lack."""
    rows = rows_of(invented_cases(40, 31))
    found = rows.groupby("analysis")[["kind", "scale"]].apply(lambda one: dict(one.drop_duplicates().to_numpy()))
    assert found.to_dict() == SCALES
    methods = rows.groupby("analysis")["method"].agg(set).to_dict()
    assert methods == {name: METHODS.get(name, {"crude", "g_computation", *WEIGHTED}) for name in SCALES}
    of_all = rows[rows["analysis"].eq("comparison.perforation") & rows["subset"].eq("all")]
    lacking = of_all["note"].map(names_in).map(lambda names: "not_adjusted_for" in names)
    assert lacking.tolist() == of_all["method"].ne("crude").tolist()


def test_where_there_is_no_group_each_outcome_has_a_row_a_method_without_a_level():
    rows = rows_of(invented_cases(12, 31), groups="no_such_column")
    rows = rows[rows["analysis"].isin(["comparison.perforation", "comparison.gain", "comparison.rmst"])]
    terms = rows.groupby("analysis")["term"].agg(set).to_dict()
    assert terms == {
        "comparison.perforation": {"risk"},
        "comparison.gain": {"difference"},
        "comparison.rmst": {"rmst at 12"},
    }
    assert rows["estimate"].isna().all()


def test_of_one_group_alone_its_crude_number_is_told_and_why_no_other():
    rows = perforation(table(("A", 10, 20)), adjust_for=[])
    assert row(rows, "risk[A]", "crude")["headline"]
    assert names_in(row(rows, "risk[A]", "overlap")["problem"]) == {"one_group"}


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ((("A", 1, 40), ("B", 12, 40)), "protocol = A"),
        ((("A", 12, 40), ("B", 1, 40)), "protocol = B"),
        ((("A", 20, 20), ("B", 20, 1)), "protocol = B"),
        ((("A", 3, 40), ("B", 6, 40)), "9 events"),
    ],
)
def test_a_refusal_names_the_group_or_counts_the_events(cells, said):
    assert said in row(perforation(table(*cells), adjust_for=[]), "difference[B]", "overlap")["problem"]


def test_a_mixed_model_of_few_patients_counts_them():
    """Constant, two terms that do not tell the groups apart, and the group: as many coefficients as patients."""
    cases = table(("A", 1, 1), ("B", 1, 1), x=[3.0, 5.0, 4.0, 4.0])
    flags = {"ended": "deeper", "first_too_deep": False, "advance_too_large": False, "overdrilled": False}
    cases = cases.assign(protrusion_mm=[1.0, 3.0, 3.0, 1.0], planned_last_mm=5.0, **flags)
    cases = cases.assign(achieved_last_mm=[5.0, 5.5, 6.0, 5.2])
    asked = ASKED | {"adjust_for": ["rbh_mid_mm", "protrusion_mm"]}
    rows = fit_comparison_drilling(cases, **asked).rows
    found = row(rows[rows["analysis"].eq("comparison.depth_error")], "difference[B]", "g_computation")
    assert "4 patients" in found["problem"]
    assert "4 coefficients" in found["problem"]


def test_who_works_in_which_group_stands_in_the_order_of_group_operator_and_year():
    cases = pd.DataFrame(
        {
            "protocol": pd.Categorical(["B", "A", "B", "A", None, "B"], ["B", "A"]),
            "operator": ["y", "x", "w", "unknown", "x", "w"],
            "surgery_year": pd.array([2020, 2019, 2021, 2018, 2018, 2019], dtype="Int64"),
        }
    )
    assert entangled(cases, "protocol").to_numpy().tolist() == [
        ["B", "w", "2019", 1],
        ["B", "w", "2021", 1],
        ["B", "y", "2020", 1],
        ["A", "unknown", "2018", 1],
        ["A", "x", "2019", 1],
    ]

"""Tears as recorded, on a table small enough to count by hand."""

import numpy as np
import pandas as pd
import pytest

from liftseries.base.remarks import names_in, remarks_in
from liftseries.estimators.proportion import share_of_patients
from liftseries.models.perforation.recorded import CASE_BANDS, fit_perforation_recorded
from liftseries.models.shared.follow_up import follow_up

# Ten sites of eight patients, six of them torn (s1 to s6); s10 is not known.
CASES = pd.DataFrame(
    {
        "site_id": [f"s{i}" for i in range(1, 11)],
        "patient_id": ["a", "a", "b", "c", "d", "e", "e", "f", "g", "h"],
        "operator": ["o1", "o1", "o1", "o2", "o2", "o2", "o1", "o2", "o3", "o1"],
        "operator_case_no": [1, 10, 11, 20, 21, 40, 41, 5, 90, 3],
        "perforation": ["yes"] * 6 + ["no"] * 3 + ["unknown"],
        "perforation_test": [*["probe"] * 2, *["valsalva"] * 2, None, "probe", "probe", "none", "valsalva", "probe"],
        "perforation_stage": ["drilling", "lifting", "lifting", "unknown", None, "placing", *[None] * 4],
        "perforation_mm": [1.0, 2.0, 3.0, 4.0, 10.0, *[np.nan] * 5],
        "perforation_management": ["membrane", "membrane", "none", "abandoned", "membrane", "membrane", *[None] * 4],
        "placement": ["same_day"] * 3 + ["none"] + ["same_day"] * 6,
    }
)  # fmt: skip
VISITS = pd.DataFrame(
    [
        ("s1", 12.0, "failed", "infection"),
        ("s2", 24.0, "functioning", "none"),
        ("s2", 36.0, "functioning", "sinusitis"),
        ("s3", 6.0, "functioning", None),
        ("s7", 48.0, "functioning", "none"),
        ("s8", 10.0, "functioning", "sinusitis"),
        ("s9", 20.0, "not_examined", None),
        ("s10", 30.0, "failed", "infection"),
    ],
    columns=["site_id", "months", "status", "complication"],
)


def rows(cases=CASES, visits=VISITS) -> pd.DataFrame:
    estimates = fit_perforation_recorded(cases, follow_up(visits, cases).implants, visits)
    return estimates.rows.set_index(["analysis", "subset", "term"])


def of(table: pd.DataFrame, analysis: str, subset: str = "all") -> pd.DataFrame:
    return table.xs((f"perforation.{analysis}", subset), level=("analysis", "subset"))


def test_stages_are_counted_among_all_tears_and_unknown_is_one_of_them():
    stage = of(rows(), "stage")
    assert stage["n_events"].to_dict() == {"drilling": 1, "lifting": 2, "grafting": 0, "placing": 1, "unknown": 2}
    assert stage["n_sites"].eq(6).all()
    assert stage["n_patients"].eq(5).all()
    assert stage["estimate"].sum() == pytest.approx(1)
    assert stage["headline"].all()


def test_the_interval_of_a_stage_is_that_of_a_share_with_patients_as_clusters():
    row = of(rows(), "stage").loc["lifting"]
    share = share_of_patients([False, True, True, False, False, False], ["a", "a", "b", "c", "d", "e"])
    assert row["estimate"] == pytest.approx(2 / 6)
    assert row[["std_error", "conf_low", "conf_high"]].tolist() == [share.std_error, share.conf_low, share.conf_high]


def test_sizes_by_hand():
    """1, 2, 3, 4, 10 mm of patients a, a, b, c, d: sums -5, -1, 0, 6 about the mean 4; variance 4/3 × 62 / 25."""
    size = of(rows(), "size")
    assert size["estimate"].to_dict() == {"n": 5.0, "mean": 4.0, "median": 3.0, "q1": 2.0, "q3": 4.0, "max": 10.0}
    assert size.loc["mean", "std_error"] == pytest.approx(np.sqrt(4 / 3 * 62 / 25))
    assert size.loc["mean", "df"] == 3
    assert size["headline"].all()
    assert size["scale"].to_dict() == dict.fromkeys(size.index, "mm") | {"n": "count"}


def test_below_five_measurements_only_their_number_is_quoted():
    size = of(rows(CASES.assign(perforation_mm=[1.0, 2.0, 3.0, 4.0, *[np.nan] * 6])), "size")
    assert size["headline"].to_dict() == dict.fromkeys(size.index, False) | {"n": True}
    assert names_in(size.loc["median", "note"]) == {"below_gate_measurements"}


def test_tears_of_the_sites_looked_at_in_each_way():
    """The site of unknown perforation is no site looked at; of s5 the test is not known."""
    test = of(rows(), "test")
    found = test.loc[["none", "valsalva", "probe"], ["n_events", "n_sites"]].to_numpy().tolist()
    assert found == [[0, 1], [2, 3], [3, 4]]
    assert "endoscopy" not in test.index
    none = of(rows(CASES.assign(perforation_test=None)), "test")
    assert none["problem"].map(names_in).eq({"not_recorded"}).all()


def test_what_was_done():
    counts = of(rows(), "management")["n_events"]
    assert counts[counts > 0].to_dict() == {"none": 1, "membrane": 4, "abandoned": 1}
    assert "unknown" not in counts


def test_what_followed_torn_sites_and_the_others():
    """s4 got no implant; s1, s2, s3 and s7, s8 were followed; s1, s2 and s7, s8 were asked about complications."""
    torn, others = of(rows(), "sequel", "perforation=yes"), of(rows(), "sequel", "perforation=no")
    for group, term, expected in (
        (torn, "no_implant", (1, 6)),
        (others, "no_implant", (0, 3)),
        (torn, "failure", (1, 3)),
        (others, "failure", (0, 2)),
        (torn, "infection", (1, 2)),
        (torn, "sinusitis", (1, 2)),
        (others, "sinusitis", (1, 2)),
        (others, "infection", (0, 2)),
    ):
        assert (group.loc[term, "n_events"], group.loc[term, "n_sites"]) == expected, term
    assert (torn.loc["months", "estimate"], others.loc["months", "estimate"]) == (12.0, 29.0)
    assert "counts_alone" in names_in(torn.loc["failure", "note"])


def learning_of(table: pd.DataFrame) -> pd.DataFrame:
    found = table.xs(("perforation.learning", "rate"), level=("analysis", "term"))
    return found.set_axis(found.index.str.partition("=").get_level_values(2))


def test_a_band_of_case_numbers_includes_its_last_case():
    learning = learning_of(rows())
    assert learning[["n_events", "n_sites"]].to_numpy().tolist() == [[2, 3], [2, 2], [2, 2], [0, 2]]
    assert list(learning.index) == list(CASE_BANDS)
    operators = [
        {one.name: one.holes for one in remarks_in(note)}["by_operators"]["n_operators"] for note in learning["note"]
    ]
    assert operators == [2, 2, 1, 2]
    assert learning["headline"].all()


def test_fewer_than_five_tears_are_no_learning_curve():
    few = learning_of(rows(CASES.assign(perforation=["yes"] * 4 + ["no"] * 6)))
    assert not few["headline"].any()
    assert few["estimate"].notna().all()
    assert few["note"].map(names_in).map(lambda names: "below_gate_learning" in names).all()


def test_what_is_left_out_is_counted():
    estimates = fit_perforation_recorded(CASES, follow_up(VISITS, CASES).implants, VISITS)
    assert estimates.left_out[["analysis", "reason", "n_sites"]].to_numpy().tolist() == [
        ["perforation.size", "perforation_mm missing", 1],
        ["perforation.test", "perforation unknown", 1],
        ["perforation.learning", "perforation unknown", 1],
    ]


@pytest.mark.parametrize("empty", ["unknown", None])
def test_no_stage_recorded_is_no_share(empty):
    stage = of(rows(CASES.assign(perforation_stage=empty)), "stage")
    assert list(stage.index) == ["drilling", "lifting", "grafting", "placing"]
    assert stage["problem"].map(names_in).eq({"not_recorded"}).all()
    assert stage["n_sites"].eq(0).all()
    without = of(rows(CASES.drop(columns="perforation_stage")), "stage")
    pd.testing.assert_frame_equal(stage, without)


def test_no_tear_leaves_nothing_to_describe():
    table = rows(CASES.assign(perforation="no"))
    assert of(table, "stage")["problem"].map(names_in).eq({"no_tear_to_describe"}).all()
    assert of(table, "size")["estimate"].isna().all()
    assert of(table, "sequel", "perforation=yes")["problem"].ne("").all()
    assert of(table, "test").loc["probe", "n_sites"] == 5


def test_one_patient_is_counted_without_an_interval():
    stage = of(rows(CASES.assign(patient_id="a")), "stage")
    assert stage["estimate"].isna().all()
    assert stage["problem"].map(names_in).eq({"one_patient"}).all()
    assert stage["n_events"].sum() == 6


def test_all_unknown_and_no_visits():
    table = rows(CASES.assign(perforation="unknown"), VISITS.iloc[:0])
    assert table["estimate"].isna().all()
    assert table["problem"].ne("").all()

"""Who is compared and when nothing is: populations, gates, operators, headlines; worked by hand at the boundaries."""

import numpy as np
import pandas as pd
import pytest
from groups_compared import ASKED, perforation, row, table
from invented import category, invented_cases, invented_visits

from liftseries.base.remarks import names_in
from liftseries.models.comparison.compared import asked_of
from liftseries.models.comparison.drilling import fit_comparison_drilling
from liftseries.models.comparison.gain import fit_comparison_gain
from liftseries.models.comparison.perforation import fit_comparison_perforation
from liftseries.models.comparison.survival import fit_comparison_survival
from liftseries.models.shared.follow_up import follow_up


@pytest.fixture(scope="module")
def cases():
    return invented_cases(150, seed=21)


BY_HEIGHT = {"adjust_for": ["rbh_mid_mm"]}


def test_rows_are_tidy_and_each_term_has_one_headline(cases):
    rows = fit_comparison_perforation(cases, **ASKED).rows
    assert not rows.duplicated(["analysis", "subset", "term", "method"]).any()
    assert (rows["estimate"].notna() | rows["problem"].ne("")).all()
    of_tears = rows[rows["analysis"].eq("comparison.perforation")]
    assert of_tears["term"].unique().tolist() == ["risk[A]", "risk[B]", "difference[B]", "ratio[B]"]
    assert of_tears[of_tears["headline"]].groupby(["subset", "term"])["method"].agg(list).map(len).eq(1).all()
    assert of_tears[of_tears["headline"]]["method"].eq("overlap").all()
    assert of_tears["scale"].unique().tolist() == ["risk", "risk_difference", "log_risk_ratio"]


def test_counts_are_those_of_the_rows_groups(cases):
    rows, known = perforation(cases), cases[cases["perforation"].isin(["yes", "no"])]
    of_b = known[known["protocol"].eq("B")]
    counts = row(rows, "risk[B]", "overlap")[["n_sites", "n_patients", "n_events"]].tolist()
    assert counts == [len(of_b), of_b["patient_id"].nunique(), of_b["perforation"].eq("yes").sum()]
    both = row(rows, "difference[B]", "crude")
    assert both[["n_sites", "n_patients"]].tolist() == [len(known), known["patient_id"].nunique()]


def test_crude_risks_are_perforation_rate_of_the_group(cases):
    from liftseries.models.perforation.rate import fit_perforation_rate

    rate = fit_perforation_rate(cases, ["protocol"]).rows.set_index(["subset", "method"]).loc["protocol=B", "patients"]
    ours = row(perforation(cases, adjust_for=[]), "risk[B]", "crude")
    columns = ["estimate", "std_error", "conf_low", "conf_high", "df", "n_sites", "n_patients", "n_events"]
    assert ours[columns].tolist() == rate[columns].tolist()


def test_crude_survival_is_survival_km_of_the_group(cases):
    from liftseries.models.survival.km import fit_survival_km

    implants = follow_up(invented_visits(cases, 22), cases).implants
    km = fit_survival_km(implants, [36], ["protocol"]).rows.set_index(["subset", "method"])
    km = km.loc["protocol=B", "corrected"]
    rows = fit_comparison_survival(implants, cases, [36], **ASKED | {"adjust_for": []}).rows
    ours = row(rows[rows["analysis"].eq("comparison.survival")], "survival[B] at 36", "crude")
    columns = ["estimate", "std_error", "conf_low", "conf_high", "n_sites", "n_patients", "n_events"]
    assert ours[columns].tolist() == km[columns].tolist()


def test_without_terms_all_methods_agree(cases):
    """Weights that are all alike, and a model of the groups alone, are the crude shares."""
    rows = perforation(cases, adjust_for=[])
    rows = rows[rows["subset"].eq("all")]
    for column in ("estimate", "std_error"):
        told = rows[~rows["term"].str.startswith("risk")].pivot(index="term", columns="method", values=column)
        np.testing.assert_allclose(told["g_computation"], told["crude"], rtol=1e-8)
        np.testing.assert_allclose(told["overlap"], told["crude"], rtol=1e-8)


def test_the_order_of_the_sites_changes_nothing(cases):
    shuffled = cases.sample(frac=1, random_state=3)
    visits = invented_visits(cases, 22)
    found, again = (
        [
            fit_comparison_perforation(one, **ASKED),
            fit_comparison_drilling(one, **ASKED),
            fit_comparison_gain(visits, one, **ASKED),
            fit_comparison_survival(follow_up(visits, one).implants, one, [12, 36], **ASKED),
        ]
        for one in (cases, shuffled)
    )
    for a, b in zip(found, again, strict=True):
        pd.testing.assert_frame_equal(a.rows, b.rows, rtol=1e-6, atol=1e-9)
        pd.testing.assert_frame_equal(a.left_out, b.left_out)


# ── populations ─────────────────────────────────────────────────────────────────────────────────────────────


def test_the_population_knows_outcome_group_and_terms_and_counts_the_rest():
    cases = table(("A", 8, 22), ("B", 9, 21)).reset_index(drop=True)
    cases.loc[0, "perforation"] = "unknown"
    cases.loc[[0, 1], "protocol"] = None
    cases.loc[[1, 2, 3], "rbh_mid_mm"] = np.nan
    estimates = fit_comparison_perforation(cases, **ASKED | BY_HEIGHT)
    left_out = estimates.left_out[estimates.left_out["subset"].eq("all")]
    assert left_out[["reason", "n_sites"]].to_numpy().tolist() == [
        ["perforation unknown", 1],
        ["protocol unknown", 1],
        ["rbh_mid_mm missing", 2],
    ]
    assert row(estimates.rows, "risk[A]", "crude")["n_sites"] == 26


def test_groups_stand_in_the_dictionarys_order_the_reference_first():
    cases = table(("never", 5, 20), ("current", 6, 20), ("former", 7, 20)).rename(columns={"protocol": "smoking"})
    cases["smoking"] = category("smoking", cases["smoking"])
    asked = asked_of(cases, "smoking", "former", ["rbh_mid_mm"], ["overlap"])
    assert asked.levels == ("former", "never", "current")
    by_name = asked_of(table(("C", 1, 1), ("B", 1, 1), ("A", 1, 1)), "protocol", "B", [], ["overlap"])
    assert by_name.levels == ("B", "A", "C")


def test_a_level_that_no_site_has_is_no_group():
    cases = table(("guided", 8, 30), ("freehand", 9, 30)).rename(columns={"protocol": "approach"})
    cases["approach"] = pd.Categorical(cases["approach"], categories=["guided", "freehand", "robotic"])
    rows = perforation(cases, **BY_HEIGHT, groups="approach", reference="freehand")
    assert not rows["term"].str.contains("robotic").any()
    assert row(rows, "difference[guided]", "overlap")["problem"] == ""


def test_a_group_that_fell_out_among_those_drilled_as_planned_says_so():
    cases = table(("A", 8, 30), ("B", 9, 30), ("C", 9, 30))
    cases["as_drilled"] = category("as_drilled", np.where(cases["protocol"].eq("C"), "not_plan", "plan"))
    estimates = fit_comparison_perforation(cases, **ASKED | BY_HEIGHT)
    fell = row(estimates.rows, "difference[C]", "overlap", "as_drilled=plan")
    assert fell["problem"] == "no site used has protocol = C"
    assert row(estimates.rows, "difference[B]", "overlap", "as_drilled=plan")["headline"]
    assert estimates.fallen_out["n_fallen_out"].tolist() == [0, 0, 39]


@pytest.mark.parametrize(
    ("asked", "name"),
    [({"reference": "Z"}, "reference_nowhere"), ({"groups": "nothing"}, "no_group"), ({"groups": "empty"}, "no_group")],
)
def test_without_groups_or_reference_each_contrast_says_why(cases, asked, name):
    rows = perforation(cases.assign(empty=None), **asked)
    contrasts = rows[~rows["term"].str.startswith("risk[")]
    assert len(contrasts)
    assert contrasts["estimate"].isna().all()
    assert contrasts["problem"].map(lambda text: names_in(text) == {name}).all()


def test_sites_of_one_patient_in_two_groups_are_one_patient():
    """Twenty patients with a site in each group, both torn or neither: the difference has no variance at all."""
    one = table(("A", 10, 10)).assign(patient_id=[f"P{i}" for i in range(20)])
    two = one.assign(site_id=[f"T{i}" for i in range(20)], protocol="B")
    rows = perforation(pd.concat([one, two], ignore_index=True), adjust_for=[])
    assert "cancel out" in row(rows, "difference[B]", "crude")["problem"]
    assert row(rows, "difference[B]", "crude")["n_patients"] == 20


def test_few_patients_take_t_on_all_patients_of_the_population():
    rows = perforation(table(("A", 6, 10), ("B", 7, 9), ("C", 8, 9)), adjust_for=[])
    found = row(rows, "difference[B]", "crude")
    assert found["df"] == 48
    assert "t(K - 1)" in found["note"]
    rows = perforation(table(("A", 6, 10), ("B", 7, 9), ("C", 8, 10)), adjust_for=[])
    assert np.isnan(row(rows, "difference[B]", "crude")["df"])


# ── gates ───────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("cells", "name"),
    [
        ((("A", 2, 40), ("B", 8, 40)), ""),
        ((("A", 1, 40), ("B", 12, 40)), "one_patient_with_event"),
        ((("A", 3, 40), ("B", 6, 40)), "too_few_events_to_compare"),
        ((("A", 20, 1), ("B", 20, 20)), "one_patient_without_event"),
    ],
)
def test_a_contrast_needs_two_patients_a_group_and_ten_events(cells, name):
    rows = perforation(table(*cells), adjust_for=[])
    contrasts = rows[~rows["term"].str.startswith("risk")]
    why = contrasts["problem"].map(names_in).map(lambda found: found - {"few_patients_with_event"})
    assert why.map(lambda found: found == ({name} if name else set())).all()
    assert contrasts["estimate"].isna().all() == bool(name)
    assert row(rows, "risk[A]", "crude")["problem"] == ""


def test_few_sites_without_the_event_keep_their_numbers_and_are_no_headline():
    rows = perforation(table(("A", 40, 4), ("B", 40, 5)), adjust_for=[])
    found = row(rows, "difference[B]", "overlap")
    assert np.isfinite(found["estimate"])
    assert not found["headline"]
    assert "9 sites without the event" in found["note"]


def test_g_computation_needs_five_events_a_coefficient():
    """Constant, height and one further group: 3 coefficients, 15 events."""
    enough = perforation(table(("A", 7, 40), ("B", 8, 40)), **BY_HEIGHT)
    assert row(enough, "difference[B]", "g_computation")["problem"] == ""
    few = perforation(table(("A", 7, 40), ("B", 7, 40)), **BY_HEIGHT)
    assert names_in(row(few, "risk[B]", "g_computation")["problem"]) == {"too_few_events_for_model"}
    assert row(few, "difference[B]", "overlap")["headline"]


def test_weights_need_five_patients_a_column_and_ten_effective_ones():
    """Constant and height: ten patients in the smallest group. With nine, crude is quoted and says it is unadjusted."""
    x = np.r_[np.tile([3.0, 4, 5], 20), np.tile([3.0, 4, 5], 3)]
    few = perforation(table(("A", 12, 48), ("B", 5, 4), x=x), **BY_HEIGHT)
    assert names_in(row(few, "difference[B]", "overlap")["problem"]) == {"too_few_patients_to_weigh"}
    crude = row(few, "difference[B]", "crude")
    assert crude["headline"]
    assert crude["note"].startswith("unadjusted")
    uneven = np.r_[np.linspace(3, 5, 60), np.linspace(4.7, 5.3, 11)]
    few = perforation(table(("A", 12, 48), ("B", 5, 6), x=uneven), **BY_HEIGHT, weights=["inverse_probability"])
    assert names_in(row(few, "difference[B]", "inverse_probability")["problem"]) == {"too_few_effective_patients"}


def test_terms_that_separate_two_groups_leave_no_contrast_of_these_two():
    x = np.r_[np.tile([3.0, 4, 5], 10), np.tile([3.0, 4, 5], 10), np.tile([6.0, 7, 8], 10)]
    rows = perforation(table(("A", 10, 20), ("B", 10, 20), ("C", 10, 20), x=x), **BY_HEIGHT)
    assert names_in(row(rows, "difference[C]", "crude")["problem"]) == {"terms_separate_groups"}
    assert "in rbh_mid_mm" in row(rows, "difference[C]", "crude")["problem"]
    assert row(rows, "difference[B]", "crude")["headline"]


def test_a_group_of_one_patient_is_not_compared():
    cases = table(("A", 10, 20), ("B", 5, 5))
    cases.loc[cases["protocol"].eq("B"), "patient_id"] = "P99"
    assert "one patient" in row(perforation(cases, adjust_for=[]), "difference[B]", "crude")["problem"]


def test_a_group_with_one_torn_patient_is_quoted_by_its_exact_bound():
    rows = perforation(table(("A", 1, 40), ("B", 12, 40)), adjust_for=[])
    assert row(rows, "risk[A]", "crude")["headline"]
    assert "one patient" in row(rows, "risk[A]", "crude")["note"]
    assert not row(rows, "risk[A]", "overlap")["headline"]
    assert row(rows, "risk[B]", "overlap")["headline"]

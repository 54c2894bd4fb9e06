"""Standardised risks: what they must equal by construction, and what cannot be standardised."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from invented import invented_cases

from liftseries.estimators.gee import INDEPENDENCE, logistic_gee
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.perforation.risk import fit_perforation_risk
from liftseries.models.perforation.standardised import RiskModel
from liftseries.models.shared.complete_cases import perforation_data

TERMS = ["rbh_mid_mm", "approach", "protrusion_mm"]


@pytest.fixture(scope="module")
def cases():
    return invented_cases(250, seed=51)


def rows_of(cases, terms=TERMS, methods=("standardised", "spline"), **contrasts):
    rows = fit_perforation_risk(cases, terms, contrasts).rows
    return rows[rows["method"].isin(methods)]


def test_without_other_terms_a_band_has_its_own_rate(cases):
    """Nothing to standardise for: the risk in a band is what the sites of the band show, weighed by patients."""
    rows = rows_of(cases, ["rbh_mid_mm"])
    band = rows[rows["analysis"] == "perforation.risk_band"].set_index("subset")
    crude = fit_perforation_rate(cases, ["rbh_band"]).rows.query("method == 'wilson'").set_index("subset")["estimate"]
    assert band["estimate"].to_dict() == pytest.approx(crude.loc[band.index].to_dict(), abs=0.02)


def test_a_difference_is_the_difference_of_two_risks(cases):
    rows = rows_of(cases, rbh_mid_mm=[7, 4])
    risk = rows[rows["analysis"] == "perforation.risk"].set_index("term")["estimate"]
    difference = rows[rows["analysis"] == "perforation.risk_difference"].iloc[0]
    assert difference["term"] == "rbh_mid_mm: 7 to 4"
    assert difference["estimate"] == pytest.approx(100 * (risk["4"] - risk["7"]))
    turned = rows_of(cases, rbh_mid_mm=[4, 7]).query("analysis == 'perforation.risk_difference'").iloc[0]
    assert turned["estimate"] == pytest.approx(-difference["estimate"])
    assert turned["std_error"] == pytest.approx(difference["std_error"])


def test_standard_error_of_a_difference_is_that_of_leaving_patients_out():
    """Sandwich and jackknife agree to the order of 1 / (patients with an event): within 6 % of some 100 of them."""
    cases = invented_cases(180, seed=52)

    def difference(table):
        data = perforation_data(table, ["rbh_mid_mm", "approach"])
        model = RiskModel(data, logistic_gee(data.design.matrix, data.event, data.patient))
        return model.risk(("approach", "freehand"), ("approach", "guided"))

    without = [difference(cases[cases["patient_id"] != p]).mean for p in cases["patient_id"].unique()]
    k = len(without)
    jackknife = np.sqrt((k - 1) / k * ((np.array(without) - np.mean(without)) ** 2).sum())
    assert difference(cases).std_error == pytest.approx(jackknife, rel=0.06)


def test_a_bend_is_found_where_there_is_one_and_its_risk_follows():
    """Risk lowest at 5 mm and as high on both sides: the spline bends, the curve has its low in the middle."""
    rng = np.random.default_rng(53)
    n = 3000
    rbh = np.round(rng.uniform(2, 8, n), 1)
    risk = 1 / (1 + np.exp(3 - 0.35 * (rbh - 5) ** 2))
    cases = pd.DataFrame(
        {
            "patient_id": np.arange(n) // 2,
            "rbh_mid_mm": rbh,
            "protrusion_mm": rng.uniform(1, 6, n),
            "rbh_band": pd.cut(rbh, [-np.inf, 4, 6, np.inf], right=False, labels=["<4", "4 to <6", "≥6"]),
            "perforation": np.where(rng.random(n) < risk, "yes", "no"),
        }
    )
    rows = rows_of(cases, ["rbh_mid_mm"])
    bend = rows[rows["analysis"] == "perforation.nonlinearity"].set_index("term")
    assert bend.loc["rbh_mid_mm", "p_value"] < 1e-6
    assert bend.loc["protrusion_mm", "p_value"] > 0.01
    along = rows[rows["analysis"] == "perforation.risk"].set_index("term")["estimate"]
    assert along["5"] < along["3"]
    assert along["5"] < along["7"]


@pytest.mark.parametrize(
    "told_of",
    [
        {
            ("rbh_mid_mm", 12, 4): "12 lies beyond the sites used",
            ("septum", "no", "yes"): "septum is no term of the perforation model",
            ("approach", "freehand", "robot"): "no site used has approach = robot",
            ("rbh_band", "<4", "≥6"): "rbh_band is no term",
        },
        {("rbh_mid_mm", "low", "high"): "holds numbers"},
    ],
)
def test_contrasts_that_would_be_a_guess_are_refused(cases, told_of):
    rows = rows_of(cases, **{column: list(pair) for column, *pair in told_of})
    rows = rows[rows["analysis"] == "perforation.risk_difference"]
    assert rows["estimate"].isna().all()
    for (column, *pair), told in told_of.items():
        of_contrast = rows[rows["term"].str.startswith(f"{column}: ")]
        assert len(of_contrast), column
        assert told in of_contrast["problem"].iloc[0], pair


def test_few_different_heights_make_no_curve(cases):
    rows = rows_of(cases.assign(rbh_mid_mm=np.where(np.arange(len(cases)) % 2, 4.0, 6.0)))
    along = rows[rows["analysis"] == "perforation.risk"]
    assert along["problem"].str.contains("too few different values").all()
    assert rows[rows["analysis"] == "perforation.risk_lift"]["estimate"].notna().all()


def test_curve_says_how_many_sites_lie_near(cases):
    curves = fit_perforation_risk(cases, TERMS, {}).curves
    along = curves[curves["exposure"] == "rbh_mid_mm"]
    point = along.iloc[len(along) // 2]
    near = (np.abs(cases["rbh_mid_mm"] - point["value_mm"]) <= 0.5).sum()
    assert point["n_sites"] == near
    assert (along["conf_low"] < along["risk"]).all()


def test_true_and_false_are_levels_to_contrast(cases):
    """A deviation is true or false; pandas counts such a column as numbers, and reads it back in three ways."""
    rng = np.random.default_rng(54)
    drilled = pd.Series(rng.random(len(cases)) < 0.4)

    def difference(column, pair):
        table = cases.assign(drilled_after_open=column)
        rows = rows_of(table, ["rbh_mid_mm", "drilled_after_open"], drilled_after_open=pair)
        return rows.query("analysis == 'perforation.risk_difference'").iloc[0]

    other = difference(np.where(drilled, "true", "false"), ["false", "true"])
    for kind, levels in product(["bool", "boolean", "object"], [["false", "true"], [False, True]]):
        ours = difference(drilled.astype(kind), levels)
        assert ours["term"] == "drilled_after_open: false to true", (kind, levels)
        assert ours["problem"] == "", (kind, levels)
        assert ours["estimate"] == pytest.approx(other["estimate"]), (kind, levels)


def test_a_level_that_follows_from_other_terms_is_not_taken_for_the_reference(cases):
    """Clinic three did every one of the `late` sites and no other did: its own effect cannot be told from theirs."""
    third = np.arange(len(cases)) % 3
    table = cases.assign(late=(third == 2).astype(float), clinic=np.array(["one", "two", "three"])[third])
    table["clinic"] = pd.Categorical(table["clinic"], ["one", "two", "three"])
    rows = rows_of(table, ["rbh_mid_mm", "late", "clinic"], clinic=["one", "three"])
    row = rows[rows["analysis"] == "perforation.risk_difference"].iloc[0]
    assert np.isnan(row["estimate"])
    assert "clinic[three] follows from the terms before it" in row["problem"]


def test_note_says_when_events_are_few_and_when_sites_weigh_as_independent(cases):
    """One perforation in every patient: sites of a patient are less alike than chance, as no correlation allows."""
    first = ~cases["patient_id"].duplicated()
    size = cases.groupby("patient_id")["site_id"].transform("size")
    spread = cases.assign(perforation=np.where(first, "yes", "no"))[size == 3]
    rows = rows_of(spread, rbh_mid_mm=[7, 4])
    rows = rows[rows["analysis"].str.startswith("perforation.risk") & rows["estimate"].notna()]
    assert len(rows)
    assert rows["note"].str.contains(INDEPENDENCE).all()

    torn = np.flatnonzero(cases["perforation"] == "yes")
    few = cases.assign(perforation=np.where(np.isin(np.arange(len(cases)), torn[:15]), "yes", "no"))
    rows = rows_of(few, rbh_mid_mm=[7, 4])
    rows = rows[rows["analysis"].str.startswith("perforation.risk") & rows["estimate"].notna()]
    assert rows["note"].str.contains("15 events for").all()


def test_each_curve_tells_whom_it_left_out(cases):
    """A site without its planned lift is left out of the curve along the lift alone."""
    table = cases.assign(protrusion_mm=cases["protrusion_mm"].where(np.arange(len(cases)) >= 20))
    estimates = fit_perforation_risk(table, ["rbh_mid_mm", "approach"], {})
    assert estimates.left_out.values.tolist() == [["perforation.risk_lift", "all", "protrusion_mm missing", 20]]
    n_sites = estimates.rows.groupby("analysis")["n_sites"].first()
    assert n_sites["perforation.risk"] - n_sites["perforation.risk_lift"] == 20

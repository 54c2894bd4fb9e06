"""Sensitivity analyses: overlooked tears, lost implants, hidden causes."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import logit

from liftseries.base.remarks import names_in, remark
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.sensitivity.detection import fit_sensitivity_detection
from liftseries.models.sensitivity.evalue import fit_sensitivity_evalue
from liftseries.models.shared.results import results_table

NO_HAZARDS = results_table([])


@pytest.fixture(scope="module")
def cases():
    """Two sites of each of 60 patients; 12 of 60 guided and 24 of 60 freehand sites perforated."""
    n = 120
    approach = np.tile(["guided", "freehand"], 60)
    patient = np.repeat(np.arange(60), 2)
    perforated = np.where(approach == "guided", patient < 12, (patient >= 6) & (patient < 30))
    return pd.DataFrame(
        {
            "patient_id": patient,
            "approach": pd.Categorical(approach, categories=["guided", "freehand"]),
            "perforation": np.where(perforated, "yes", "no"),
            "site_id": np.arange(n),
        }
    )


def test_a_share_seen_divides_the_rate(cases):
    rows = fit_sensitivity_detection(cases).rows
    whole = rows[rows["analysis"].eq("sensitivity.detection") & rows["subset"].eq("all")].set_index("term")
    rate = fit_perforation_rate(cases).rows.set_index("method").loc["patients"]
    assert whole["method"].eq("patients").all()
    assert whole.loc["1", "estimate"] == rate["estimate"]
    assert whole.loc["0.4", "estimate"] == pytest.approx(rate["estimate"] / 0.4)
    assert whole.loc["0.4", "conf_low"] == pytest.approx(rate["conf_low"] / 0.4)
    assert "cannot have been seen" in whole.loc["0.25", "problem"]


def test_contrast_if_tears_were_seen_apart(cases):
    """24/60 freehand, 12/60 guided. Seen alike: the crude odds ratio. At 0.8 and 1: (0.2 / 0.8) / (0.5 / 0.5) = 1/4."""
    rows = fit_sensitivity_detection(cases).rows
    contrast = rows[rows["analysis"] == "sensitivity.detection_contrast"].set_index("term")
    assert contrast.loc["approach[guided] 1/1", "estimate"] == pytest.approx(logit(0.2) - logit(0.4))
    assert contrast.loc["approach[guided] 0.8/1", "estimate"] == pytest.approx(np.log(0.25))
    # The delta method against leaving patients out; they agree to the order of 1 / patients.
    without = [
        logit(part[part["approach"] == "guided"]["perforation"].eq("yes").mean())
        - logit(part[part["approach"] == "freehand"]["perforation"].eq("yes").mean() / 0.8)
        for part in (cases[cases["patient_id"] != p] for p in range(60))
    ]
    jackknife = np.sqrt(59 / 60 * ((np.array(without) - np.mean(without)) ** 2).sum())
    assert contrast.loc["approach[guided] 0.8/1", "std_error"] == pytest.approx(jackknife, rel=0.05)


@pytest.mark.parametrize(("n_events", "gated"), [(4, True), (5, False)])
def test_contrast_of_few_tears_is_below_its_gate(cases, n_events, gated):
    few = cases[cases["approach"].eq("guided").eq(cases["patient_id"] % 2 == 0)]  # one site a patient
    few = few.assign(perforation=np.where(few["patient_id"] < n_events, "yes", "no"))
    rows = fit_sensitivity_detection(few).rows
    contrast = rows[rows["analysis"].eq("sensitivity.detection_contrast")]
    assert set(contrast["n_events"]) == {n_events}
    assert contrast["note"].str.contains("too few for a ratio").eq(gated).all()


def test_e_value_of_an_interval_that_holds_none_is_one():
    model = pd.DataFrame(
        {
            "analysis": "perforation.gee",
            "term": ["(intercept)", "a", "b", "c"],
            "estimate": [0.1, np.log(2.0), np.log(0.5), np.nan],
            "conf_low": [0, np.log(1.5), np.log(0.2), np.nan],
            "conf_high": [1, np.log(3.0), np.log(1.2), np.nan],
            "scale": "log_odds",
            "n_sites": 500,
            "n_patients": 300,
            "n_events": 40,
            "problem": ["", "", "", "no finite odds"],
        }
    )
    model = model.assign(method="corrected", headline=True)
    none = model.iloc[:0]
    rows = fit_sensitivity_evalue(model, NO_HAZARDS, none, NO_HAZARDS).rows.set_index("term")
    assert rows["headline"].tolist() == [True, True, False]
    assert rows.loc["perforation.gee a", "estimate"] == pytest.approx(2 + np.sqrt(2))
    assert rows.loc["perforation.gee a", "conf_low"] == pytest.approx(1.5 + np.sqrt(0.75))
    assert rows.loc["perforation.gee b", "estimate"] == pytest.approx(2 + np.sqrt(2))
    assert rows.loc["perforation.gee b", "conf_low"] == 1
    assert "no finite odds" in rows.loc["perforation.gee c", "problem"]


@pytest.mark.parametrize(("n_events", "quoted"), [(19, False), (20, True)])
def test_e_values_of_a_perforation_rest_on_the_quoted_row_from_20_events_on(n_events, quoted):
    """Odds ratio 2 is quoted, 3 is not; a term that nobody quotes keeps the penalised whole model's."""
    columns = "analysis term method headline estimate conf_low conf_high"
    rows = [
        ("perforation.gee", "a", "sandwich", False, 3.0, 1.5, 6.0),
        ("perforation.gee", "a", "corrected", False, 3.0, 1.5, 6.0),
        ("perforation.firth", "a", "profile", False, 2.0, 1.5, 3.0),
        ("perforation.firth", "a", "profile_or_jackknife", True, 2.0, 1.5, 3.0),
        ("perforation.firth", "b", "profile_or_jackknife", False, 4.0, 2.0, 9.0),
    ]
    table = pd.DataFrame(rows, columns=columns.split())
    logs = {name: np.log(table[name]) for name in ("estimate", "conf_low", "conf_high")}
    counts = {"n_sites": 500, "n_patients": 300, "n_events": n_events}
    table = table.assign(**logs, **counts, scale="log_odds", problem="")
    gee, firth = table[table["analysis"].eq("perforation.gee")], table[table["analysis"].eq("perforation.firth")]
    found = fit_sensitivity_evalue(gee, NO_HAZARDS, firth, NO_HAZARDS).rows.set_index("term")
    assert found.index.tolist() == ["perforation.firth a", "perforation.firth b"]
    assert found["estimate"].tolist() == pytest.approx([2 + np.sqrt(2), 4 + np.sqrt(12)])
    assert found["headline"].tolist() == [quoted, False]
    assert found["note"].str.contains("too few to ask what").tolist() == [not quoted] * 2


def test_an_e_value_keeps_why_its_ratio_is_not_quoted():
    gate = remark("below_gate_terms", n_events=22, n_allowed=4, n_terms=5)
    firth = {"analysis": "perforation.firth", "term": "e", "method": "profile_or_jackknife", "headline": False}
    counts = {"n_sites": 500, "n_patients": 300, "n_events": 22}
    limits = {"estimate": 0.7, "conf_low": 0.1, "conf_high": 1.3, "scale": "log_odds", "problem": ""}
    model = pd.DataFrame([{**firth, **counts, **limits, "note": gate}])
    row = fit_sensitivity_evalue(model.iloc[:0], NO_HAZARDS, model, NO_HAZARDS).rows.iloc[0]
    assert not row["headline"]
    assert gate in row["note"]


def test_e_values_of_endless_ratios_are_numbers():
    """A nearly separated term with an interval by t(1) reaches from 0 to infinity."""
    model = pd.DataFrame(
        {
            "analysis": "survival.cox",
            "term": ["a", "b[yes]"],
            "estimate": [400.0, -20.0],
            "conf_low": [-900.0, -2000.0],
            "conf_high": [1700.0, -10.0],
            "scale": "log_hazard",
            "n_sites": 40,
            "n_patients": 25,
            "n_events": 20,
            "problem": ["", "strange unit"],
            "headline": True,
            "method": "corrected",
        }
    )
    rows = fit_sensitivity_evalue(NO_HAZARDS, model, NO_HAZARDS, NO_HAZARDS).rows
    assert np.isfinite(rows[["estimate", "conf_low"]].to_numpy()).all()
    assert rows["conf_low"].iloc[0] == 1
    assert rows["conf_low"].iloc[1] < rows["estimate"].iloc[1]
    assert rows["problem"].tolist() == ["", "strange unit"]
    assert rows["method"].eq("hazard_ratio").all()
    assert [names_in(note) for note in rows["note"]] == [{"events_common", "per_unit"}, {"events_common"}]


def test_e_value_of_a_common_hazard_ratio():
    """VanderWeele and Ding 2017, table 2 (from memory).

    RR = (1 - 0.5^√HR) / (1 - 0.5^√(1/HR)); HR 4: 3/4 over 1 - √½.
    """
    model = pd.DataFrame(
        {
            "analysis": "survival.cox",
            "term": "b[yes]",
            "estimate": [np.log(4)],
            "conf_low": [np.log(2)],
            "conf_high": [np.log(8)],
            "scale": "log_hazard",
            "n_sites": 200,
            "n_patients": 50,
            "n_events": [30],
            "problem": "",
            "headline": True,
            "method": "corrected",
        }
    )
    ratio = 0.75 / (1 - 0.5**0.5)
    common = fit_sensitivity_evalue(NO_HAZARDS, model, NO_HAZARDS, NO_HAZARDS).rows.loc[0, "estimate"]
    assert common == pytest.approx(ratio + np.sqrt(ratio * (ratio - 1)))
    rare = fit_sensitivity_evalue(NO_HAZARDS, model.assign(n_events=29), NO_HAZARDS, NO_HAZARDS).rows.loc[0, "estimate"]
    assert rare == pytest.approx(4 + np.sqrt(12))


def test_e_values_rest_on_the_quoted_hazard_ratio_and_on_20_failures():
    """The penalised ratio of 2 below 500 failures, whatever the Cox model says; with 19 failures a reason."""
    shared = {"term": "a", "scale": "log_hazard", "n_sites": 300, "n_patients": 200, "n_events": 20, "problem": ""}
    limits = {"conf_low": np.log(1.5), "conf_high": np.log(3)}
    firth = [
        {"analysis": "survival.firth_cox", "method": how, "headline": how != "profile", "estimate": np.log(2)}
        for how in ("profile", "profile_or_jackknife")
    ]
    firth = results_table(row | shared | limits for row in firth)
    cox = {"analysis": "survival.cox", "method": "corrected", "headline": False, "estimate": np.log(5)}
    cox = results_table([cox | shared | limits])
    rows = fit_sensitivity_evalue(NO_HAZARDS, cox, NO_HAZARDS, firth).rows
    assert rows["term"].tolist() == ["survival.firth_cox a"]
    assert rows["estimate"].tolist() == pytest.approx([2 + np.sqrt(2)])
    few = fit_sensitivity_evalue(NO_HAZARDS, cox.assign(n_events=19), NO_HAZARDS, firth.assign(n_events=19)).rows
    assert rows["headline"].tolist() == [True]
    assert few["headline"].tolist() == [False]
    assert few["note"].str.contains("19 events: too few to ask").all()
    none = fit_sensitivity_evalue(
        NO_HAZARDS, cox, NO_HAZARDS, firth.assign(headline=False, estimate=np.nan, problem="why not")
    ).rows
    assert none["term"].tolist() == ["survival.firth_cox a"]
    assert none["problem"].tolist() == ["no ratio to explain away: why not"]


def test_corrected_rates_of_few_patients_keep_their_t(cases):
    few = cases[cases["patient_id"] < 30]
    rows = fit_sensitivity_detection(few).rows
    assert rows.loc[rows["analysis"].eq("sensitivity.detection") & rows["subset"].eq("all"), "df"].eq(29).all()
    contrast = rows[rows["analysis"].eq("sensitivity.detection_contrast") & rows["std_error"].notna()]
    assert len(contrast)
    assert contrast["df"].eq(28).all()
    assert contrast["note"].str.contains("t(K - p)", regex=False).all()


def test_a_level_of_one_patient_has_no_interval(cases):
    """That patient's sites cannot tell how far another's would lie, however many the rest are."""
    lone = cases.assign(approach=np.where(cases["patient_id"] == 0, "guided", "freehand"))
    lone.loc[0, "perforation"], lone.loc[1, "perforation"] = "yes", "no"
    rows = fit_sensitivity_detection(lone).rows
    contrast = rows[rows["analysis"] == "sensitivity.detection_contrast"]
    assert contrast["estimate"].isna().all()
    assert contrast["problem"].str.contains("belong to one patient").any()


def test_contrast_of_two_levels_does_not_ask_the_third(cases):
    """Patients without a site in either level neither count nor widen."""
    more = cases.assign(
        patient_id=cases["patient_id"] + 100, approach="robot", site_id=cases["site_id"] + 1000, perforation="yes"
    )
    both = pd.concat([cases.astype({"approach": object}), more], ignore_index=True)
    alone, among = (
        fit_sensitivity_detection(table).rows.set_index("term").loc["approach[guided] 1/0.8"] for table in (cases, both)
    )
    assert alone["n_patients"] == among["n_patients"] == 60
    assert alone["std_error"] == pytest.approx(among["std_error"])

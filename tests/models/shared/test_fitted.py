"""What a fitted model leaves for whoever refits it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.shared.design import design_matrix
from liftseries.models.shared.fitted import PERFORATED, fitted_model, random_intercepts, why_not_used
from liftseries.models.shared.follow_up import NO_IMPLANT, NO_VISIT, NOT_EXAMINED, follow_up, why_not_followed


def test_formula_and_levels_are_rs_own_with_the_reference_first(as_category):
    """Smoking's reference never is no complete case here: former stands in for it."""
    table = pd.DataFrame(
        {
            "rbh_mid_mm": [3.0, 4.5, 6.0, 5.0, np.nan],
            "approach": as_category("approach", ["guided", "freehand", "guided", "freehand", "guided"]),
            "smoking": as_category("smoking", ["former", "current", "current", "former", "never"]),
            "septum": as_category("septum", ["no"] * 5),
        }
    )
    design = design_matrix(table, ["rbh_mid_mm", "approach", "smoking", "septum"])
    why_not = why_not_used(table.assign(site_id=["a", "b", "c", "d", "NA"]), design.reasons)
    model = fitted_model("m", "x", PERFORATED, "f", design, why_not, np.eye(4), random="(1 | patient_id)")
    row = model.formula_table().iloc[0]
    assert row["formula"] == '(perforation == "yes") ~ rbh_mid_mm + approach + smoking + (1 | patient_id)'
    assert row["levels"] == "approach: freehand | guided; smoking: former | current"
    assert row["n"] == 4
    terms = ["(intercept)", "rbh_mid_mm", "approach[guided]", "smoking[current]"]
    covariance = model.covariance_table()
    assert covariance["term"].tolist() == covariance.columns[1:].tolist() == terms
    assert model.used_table().to_numpy().tolist() == [
        ["a", True, ""], ["b", True, ""], ["c", True, ""], ["d", True, ""], ["NA", False, "rbh_mid_mm missing"],
    ]  # fmt: skip


def test_a_model_without_terms_has_its_constant(as_category):
    table = pd.DataFrame({"site_id": ["a", "b"]})
    model = fitted_model("m", "x", "y", "f", design_matrix(table, []), why_not_used(table, np.array(["", ""])), None)
    assert model.formula == "y ~ 1"
    assert model.covariance_table().columns.tolist() == ["term", "(intercept)"]
    assert model.covariance_table().empty


@pytest.mark.parametrize(
    ("patient", "site", "words"),
    [
        (True, True, "(1 | patient_id/site_id)"), (True, False, "(1 | patient_id)"), (False, True, "(1 | site_id)"),
        (False, False, ""),
    ],
)  # fmt: skip
def test_random_part_names_the_intercepts_that_the_model_has(patient, site, words):
    assert random_intercepts(patient, site) == words


def test_an_unknown_outcome_is_the_reason_before_a_missing_term(many_cases):
    cases = many_cases.reset_index(drop=True)
    cases.loc[:1, "perforation"] = "unknown"
    cases.loc[1:2, "rbh_mid_mm"] = np.nan
    (model,) = fit_perforation_gee(cases, ["rbh_mid_mm"]).fitted
    reasons = ["perforation unknown", "perforation unknown", "rbh_mid_mm missing", ""]
    assert model.used_table()["why_not"].tolist()[:4] == reasons


def test_a_correlation_that_was_refused_is_told(many_cases):
    """Two sites a patient, one perforated: less alike than chance."""
    cases = many_cases.iloc[:80].assign(patient_id=np.repeat(range(40), 2), perforation=["yes", "no"] * 40)
    (model,) = fit_perforation_gee(cases, []).fitted
    rows = fit_perforation_gee(cases, []).rows
    assert ("independence" in model.family) == rows["note"].str.contains("working independence").all()


def test_why_an_implant_is_not_followed_is_counted_as_it_is_listed(as_category, one_site_each):
    cases = one_site_each(placement=["same_day", "none", "same_day", "same_day", "staged"])
    visits = pd.DataFrame(
        {
            "site_id": ["S0", "S2", "S0", "S4"],
            "months": [3.0, 4.0, 12.0, 6.0],
            "status": as_category("status", ["functioning", "not_examined", "not_examined", "patient_died"]),
        }
    )
    reasons = why_not_followed(visits, cases)
    assert reasons.to_dict() == {"S0": "", "S1": NO_IMPLANT, "S2": NOT_EXAMINED, "S3": NO_VISIT, "S4": ""}
    counted = follow_up(visits, cases).left_out("follow_up").set_index("reason")["n_sites"].to_dict()
    assert counted == reasons[reasons.ne("")].value_counts().to_dict()

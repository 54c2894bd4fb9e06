"""Which model of a perforation is quoted: at each border of the gates, made-up series with so many events."""

import numpy as np
import pandas as pd
import pytest
from invented import invented_cases

from liftseries.base.remarks import names_in
from liftseries.models.perforation.firth import fit_perforation_firth
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.perforation.quoted import quoted_model
from liftseries.models.perforation.risk import fit_perforation_risk
from liftseries.models.shared.design import INTERCEPT

TERMS = ["rbh_mid_mm", "approach", "protrusion_mm"]
CONTRASTS = {"rbh_mid_mm": [7, 4], "protrusion_mm": [2, 5], "approach": ["freehand", "guided"]}


def with_events(n_events, n_patients=120, seed=3):
    """An invented series of which so many sites are perforated, drawn over all heights and both approaches."""
    cases = invented_cases(n_patients, seed)
    torn = np.random.default_rng(seed).permutation(len(cases))[:n_events]
    return cases.assign(perforation=np.where(np.isin(np.arange(len(cases)), torn), "yes", "no"))


def quoted(rows):
    return rows.loc[rows["headline"] & rows["term"].ne(INTERCEPT), ["analysis", "method", "term"]].to_numpy().tolist()


def both(cases, terms=TERMS):
    return pd.concat([fit_perforation_gee(cases, terms).rows, fit_perforation_firth(cases, terms).rows])


@pytest.mark.parametrize(
    ("n_events", "method", "terms"),
    [
        (4, None, []),
        (5, "first_terms", ["rbh_mid_mm"]),
        (9, "first_terms", ["rbh_mid_mm"]),
        (10, "first_terms", ["rbh_mid_mm", "approach[guided]"]),
        (14, "first_terms", ["rbh_mid_mm", "approach[guided]"]),
        (15, "profile_or_jackknife", ["rbh_mid_mm", "approach[guided]", "protrusion_mm"]),
        (19, "profile_or_jackknife", ["rbh_mid_mm", "approach[guided]", "protrusion_mm"]),
    ],
)
def test_as_many_of_the_first_terms_are_quoted_as_the_events_carry(n_events, method, terms):
    rows = both(with_events(n_events))
    assert quoted(rows) == [["perforation.firth", method, term] for term in terms]
    whole = rows[rows["method"].eq("profile_or_jackknife")]
    assert whole["estimate"].notna().all()
    assert whole["note"].ne("").all() == (method != "profile_or_jackknife")
    if method == "first_terms":
        reduced = rows[rows["method"].eq(method)]
        assert reduced["term"].tolist() == [INTERCEPT, *terms]
        alone = fit_perforation_firth(with_events(n_events), TERMS[: len(terms)]).rows
        alone = alone[alone["method"].eq("profile_or_jackknife")]
        assert reduced["conf_low"].tolist() == alone["conf_low"].tolist()
        assert reduced["note"].str.contains(f"only {len(terms)} term").all()


def test_a_term_of_two_coefficients_needs_two_allowed():
    """9 events carry one coefficient, smoking has two: nothing is quoted, though a later term would fit alone."""
    cases = with_events(9)
    assert quoted(both(cases, ["smoking", "rbh_mid_mm"])) == []
    assert quoted(both(with_events(10), ["smoking", "rbh_mid_mm"])) == [
        ["perforation.firth", "first_terms", "smoking[former]"],
        ["perforation.firth", "first_terms", "smoking[current]"],
    ]


@pytest.mark.parametrize(("n_events", "analysis"), [(499, "perforation.firth"), (500, "perforation.gee")])
def test_from_500_events_the_gee_is_quoted_and_the_penalised_model_not_fitted(n_events, analysis):
    cases = with_events(n_events, n_patients=700)
    odds = both(cases)
    method = {"perforation.firth": "profile_or_jackknife", "perforation.gee": "corrected"}[analysis]
    assert quoted(odds) == [[analysis, method, t] for t in ("rbh_mid_mm", "approach[guided]", "protrusion_mm")]
    risks = fit_perforation_risk(cases, TERMS, CONTRASTS).rows
    told = risks[risks["headline"] & risks["analysis"].ne("perforation.nonlinearity")]
    assert set(told["method"]) == {{"perforation.firth": "firth", "perforation.gee": "gee"}[analysis]}
    for rows in (odds[odds["analysis"].eq("perforation.firth")], risks[risks["method"].eq("firth")]):
        assert len(rows)
        assert rows["estimate"].isna().all() == (n_events >= 500)
        unfitted = [names_in(text) == {"not_penalised"} for text in rows["problem"]]
        assert unfitted == [n_events >= 500] * len(rows)


def test_from_500_events_firth_is_quoted_where_the_gee_has_no_finite_answer():
    cases = with_events(600, n_patients=700)
    cases.loc[cases["approach"].eq("guided"), "perforation"] = "no"
    more = with_events(700, n_patients=700)
    more["perforation"] = np.where(more["approach"].eq("guided"), "no", "yes")
    more.loc[np.flatnonzero(more["approach"].eq("freehand"))[:30], "perforation"] = "no"
    assert more["perforation"].eq("yes").sum() >= 500
    rows = both(more, ["rbh_mid_mm", "approach"])
    assert {analysis for analysis, *_ in quoted(rows)} == {"perforation.firth"}


@pytest.mark.parametrize("n_events", [4, 5, 9, 12, 19, 20, 25])
def test_risks_and_differences_come_from_the_fit_whose_ratio_is_quoted(n_events):
    cases = with_events(n_events)
    estimates = fit_perforation_risk(cases, TERMS, CONTRASTS)
    rows = estimates.rows
    model = quoted_model(cases, TERMS)
    told = {term.partition(":")[0] for term in rows.loc[rows["headline"], "term"] if ":" in term}
    assert told == ({"rbh_mid_mm", "protrusion_mm", "approach"} & set(model.terms) if not model.gate else set())
    heights = rows[rows["analysis"].eq("perforation.risk") & rows["headline"]]
    assert {"4", "7"} <= set(heights["term"]) if n_events >= 5 else heights.empty
    assert rows.loc[rows["method"].eq("standardised"), "headline"].eq(False).all()
    bend = rows[rows["analysis"].eq("perforation.nonlinearity") & rows["term"].eq("rbh_mid_mm")]
    assert bend["headline"].tolist() == [n_events >= 20]
    drawn = set(estimates.curves.loc[estimates.curves["exposure"].eq("rbh_mid_mm"), "method"])
    assert drawn == ({"standardised"} if n_events >= 20 else {"firth"} if n_events >= 5 else set())


def test_what_the_first_terms_leave_out_has_no_quoted_difference():
    rows = fit_perforation_risk(with_events(12), TERMS, CONTRASTS).rows
    rows = rows[rows["method"].eq("firth") & rows["term"].str.startswith("protrusion_mm:")]
    (row,) = rows.to_dict("records")
    assert np.isfinite(row["estimate"])
    assert not row["headline"]
    assert "12 events carry 2 terms" in row["note"]


def test_lift_is_along_a_model_of_its_own_where_the_plan_has_no_term_for_it():
    rows = fit_perforation_risk(with_events(40), ["rbh_mid_mm", "approach"], CONTRASTS).rows
    lift = rows[rows["analysis"].eq("perforation.risk_lift") & rows["headline"]]
    assert len(lift) > 5
    assert lift["method"].eq("firth").all()
    height = rows[rows["analysis"].eq("perforation.risk") & rows["headline"]].set_index("term")["estimate"]
    difference = rows[rows["headline"] & rows["term"].eq("rbh_mid_mm: 7 to 4")].iloc[0]
    assert difference["estimate"] == pytest.approx(100 * (height["4"] - height["7"]))

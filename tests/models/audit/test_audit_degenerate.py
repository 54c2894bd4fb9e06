"""What no data set may do to an audit: no exception, no silent blank, no row twice."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
from audit_series import CHANCE, CUSUM, LIMITS, MIX, PLAN, SCALES, with_operators
from test_degenerate import KINDS

from liftseries.base.remarks import names_in
from liftseries.models.audit.benchmark import fit_audit_benchmark
from liftseries.models.audit.between import fit_audit_between
from liftseries.models.audit.by_year import fit_audit_year
from liftseries.models.audit.funnel import fit_audit_funnel
from liftseries.models.audit.indicators import fit_audit_indicators
from liftseries.models.audit.learning import fit_audit_learning
from liftseries.models.audit.over_time import fit_audit_cusum
from liftseries.models.audit.review import list_cases_to_review
from liftseries.models.questions import ANALYSES
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.shared.results import KEY

OF_SITES = {"unrecorded": "not_done", "data_until": "", "depth_tolerance_mm": 0.05, "step_mm": 1.0}


def one_operator(cases):
    return with_operators(cases, 1)


def no_case_numbers(cases):
    return with_operators(cases).drop(columns="operator_case_no")


def no_operators(cases):
    return with_operators(cases).drop(columns=["operator", "operator_case_no"])


def nothing_recorded(cases):
    found = with_operators(cases)
    return found.drop(columns=["surgery_year", "placement", "perforation_test", "not_probed"]).assign(
        floor_slope_deg=np.nan
    )


def operators_unknown(cases):
    return with_operators(cases).assign(operator=None)


LACKING = [no_case_numbers, no_operators, nothing_recorded, operators_unknown]
SERIES = [
    *((kind, with_operators) for kind in KINDS),
    *((kind, one_operator) for kind in ("nobody", "three patients", "separated", "one site a patient")),
    *(("one site a patient", way) for way in LACKING),
]


def every_question(cases, visits) -> dict:
    implants = follow_up(visits, cases).implants
    expected = {"OP1": {2018: 9}, "silent": {2019: 3}}
    plan = {**PLAN, "expected": expected}
    series = {"cases": cases, "implants": implants, "visits": visits, "by": "operator", "period": []}
    fast = {**CUSUM, "cusum_cases": 20}
    asked = {"standard": None, "alert_sd": 2, "expected": expected, "names": [], "months": [12, 36]}
    benchmark = fit_audit_benchmark(cases, "operator", [], expected)
    found = {
        "funnel": fit_audit_funnel(cases, period=[], case_mix=MIX, **plan, **LIMITS),
        "to a standard": fit_audit_funnel(
            cases, period=[2019], case_mix=MIX, **{**plan, "centre": "standard", "standard": 0.1}, **LIMITS
        ),
        "between": fit_audit_between(cases, period=[], **plan, **CHANCE),
        "cusum": fit_audit_cusum(cases, case_mix=MIX, **plan, **fast, **CHANCE),
        "learning": fit_audit_learning(cases, MIX),
        "year": fit_audit_year(cases),
        "indicators": fit_audit_indicators(**series, **asked, **OF_SITES),
        "benchmark": benchmark,
    }
    list_cases_to_review(**series, **OF_SITES)
    return found


@pytest.mark.parametrize(("kind", "way"), SERIES, ids=lambda one: getattr(one, "__name__", one))
def test_no_data_set_breaks_an_audit(kind, way):
    cases, visits = KINDS[kind]()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        answers = every_question(way(cases), visits)
    for name, estimates in answers.items():
        rows = estimates.rows
        assert len(rows) or name == "year", name
        assert (rows["estimate"].notna() | rows["problem"].map(names_in).map(bool)).all(), name
        assert not (rows["estimate"].isna() & rows["headline"]).any(), name
        of_audit = rows[rows["analysis"].isin(SCALES)]
        for analysis, term, scale in of_audit[["analysis", "term", "scale"]].drop_duplicates().to_numpy():
            assert scale == SCALES[analysis][term], (analysis, term)
        assert not rows.duplicated(list(KEY)).any(), name
        assert not np.isinf(rows[["estimate", "conf_low", "conf_high"]].to_numpy(float)).any(), name
        assert rows["scale"].map(bool).all(), name
        assert rows["n_sites"].notna().all(), name
        assert rows.loc[~rows["analysis"].eq("audit.indicator"), "n_events"].notna().all(), name
        both = rows[rows["conf_low"].notna() & rows["conf_high"].notna()]
        assert both["conf_level"].eq(0.95).all(), name
        assert both["estimate"].between(both["conf_low"], both["conf_high"]).all(), name
        texts = {*rows["note"], *rows["problem"], *estimates.left_out["reason"]}
        assert not [text for text in texts if not isinstance(text, str) or "" in names_in(text)], name
        for analysis, method in set(zip(rows["analysis"], rows["method"], strict=True)):
            assert method in ANALYSES[analysis].methods, (analysis, method)
        effects = estimates.design_effects
        assert not pd.concat([rows, effects]).duplicated(list(KEY)).any(), name

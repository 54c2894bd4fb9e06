"""Each headline question of a small or rare series has a number or a bound, and the attack recovers nothing."""

from __future__ import annotations

import pytest
from rare_series import SERIES, made
from release_series import SMALLEST_CELL, made_of

from liftseries.release.check import attacked
from liftseries.release.entries import ANSWERED
from liftseries.release.groups import WHOLE
from liftseries.report.kit.numbers import WITHHELD_COUNT

ANALYSES_ANSWERED = [analysis for analysis, _ in ANSWERED]
WITHOUT_A_ROW = {"60 patients, logs of three": {"depth.adherence"}}  # of three patients: a group under k has no row
SLOW = ("40 patients", "120 patients", "12 patients", "5,000 patients")  # the dozen: see test_bounds.py


@pytest.mark.parametrize("name", [name for name in SERIES if name not in SLOW])
def test_each_headline_question_has_a_number_or_a_bound_and_nothing_is_recovered(name):
    series = made_of("sixty") if name == "60 patients" else made(**SERIES[name])  # made once for many tests
    masked = series.masked
    results, whole = masked.material.results, masked.whole.results
    is_answer = [
        (analysis, method) in ANSWERED and subset == WHOLE
        for analysis, method, subset in results[["analysis", "method", "subset"]].itertuples(index=False)
    ]
    asked = whole["estimate"].notna().to_numpy(bool) & is_answer
    answered = (
        results["estimate"].notna()
        | results["conf_high"].notna()
        | results["n_events"].ge(0)
        | results["n_events"].lt(WITHHELD_COUNT)
    )
    questions = answered[asked].groupby(results.loc[asked, "analysis"]).any()
    assert set(ANALYSES_ANSWERED) - set(questions.index) == WITHOUT_A_ROW.get(name, set())
    assert questions.all()
    assert attacked(masked, SMALLEST_CELL).recovered == []

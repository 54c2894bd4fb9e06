"""Each headline question of a small or rare series has a number or a bound, and the attack recovers nothing."""

from __future__ import annotations

import pytest
from rare_series import made
from release_series import SMALLEST_CELL

from liftseries.release.check import attacked
from liftseries.release.entries import ANSWERED
from liftseries.release.groups import WHOLE
from liftseries.report.kit.numbers import WITHHELD_COUNT

ANALYSES_ANSWERED = [analysis for analysis, _ in ANSWERED]
LOGS_OF_FEW = {"depth.adherence"}  # of three patients: a group under k has no row
# Two rare things at a time; alone, and in larger series, they are tried by tests/benchmarks/release_attack.py.
RARE = {
    "40 patients, no failure, a centre of three": {"n_patients": 40, "failures": 0, "label": ("centre", 3)},
    "60 patients, 1 failure, a protocol that one has": {"n_patients": 60, "failures": 1, "label": ("protocol", 1)},
    "60 patients, 4 failures, logs of three": {"n_patients": 60, "failures": 4, "logs": 3},
}


@pytest.mark.parametrize("rare", RARE.values(), ids=RARE)
def test_each_headline_question_has_a_number_or_a_bound_and_nothing_is_recovered(rare):
    masked = made(**rare).masked
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
    assert set(ANALYSES_ANSWERED) - set(questions.index) == (LOGS_OF_FEW if "logs" in rare else set())
    assert questions.all()
    assert attacked(masked, SMALLEST_CELL).recovered == []

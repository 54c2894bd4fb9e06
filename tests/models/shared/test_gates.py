"""Gates by events, at each of their edges. The figures: common practice, no source."""

import pytest

from liftseries.base.remarks import names_in
from liftseries.models.shared.gates import at_risk_gate, ratio_gate, terms_allowed


@pytest.mark.parametrize(
    ("n_events", "allowed"), [(0, 0), (4, 0), (5, 1), (9, 1), (10, 2), (14, 2), (15, 3), (24, 4), (25, 5), (100, 20)]
)
def test_terms_allowed(n_events, allowed):
    assert terms_allowed(n_events) == allowed


@pytest.mark.parametrize(
    ("n_events", "n_terms", "why"),
    [
        (4, 1, {"below_gate_no_ratio"}),
        (5, 1, set()),
        (9, 2, {"below_gate_terms"}),
        (14, 3, {"below_gate_terms"}),
        (15, 3, set()),
    ],
)
def test_ratio_gate(n_events, n_terms, why):
    assert names_in(ratio_gate(n_events, n_terms)) == why


@pytest.mark.parametrize(
    ("n_at_risk", "n", "closed"), [(19, 100, True), (20, 200, False), (20, 201, True), (21, 201, False)]
)
def test_at_risk_gate_asks_for_20_and_a_tenth(n_at_risk, n, closed):
    assert bool(at_risk_gate(n_at_risk, n)) is closed

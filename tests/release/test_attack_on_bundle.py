"""A reader who adds and subtracts all that the bundle prints works out no count of few patients."""

from __future__ import annotations

from dataclasses import replace

import pytest
from release_series import FORTY_WITHOUT_VISITS, SMALLEST_CELL, made_of

from liftseries.release import masking
from liftseries.release.check import shown_values, worked_out


@pytest.mark.parametrize("kind", [FORTY_WITHOUT_VISITS, "sixty"])
def test_no_small_count_can_be_worked_out_from_what_is_printed(kind):
    masked = made_of(kind).masked
    assert len(masked.protection.intervals) > 10
    assert len(shown_values(masked)) > 30
    assert masked.withheld["counts_withheld"].sum() > 30
    assert worked_out(masked, SMALLEST_CELL) == []


def test_the_attack_works_them_out_where_only_small_counts_are_withheld(monkeypatch):
    """Else finding none would prove nothing."""
    made = made_of(FORTY_WITHOUT_VISITS)
    protection = replace(made.masked.protection, complementary=frozenset())
    monkeypatch.setattr(masking, "protection_of", lambda ledger, smallest_cell: protection)
    masked = masking.mask(made.whole, made.population, SMALLEST_CELL)
    assert worked_out(masked, SMALLEST_CELL)

"""A reader who adds and subtracts all that the bundle prints works out no count of few patients."""

from __future__ import annotations

from dataclasses import replace

import pytest
from release_series import SMALLEST_CELL, made_series_of

from liftseries.release import masking
from liftseries.release.check import shown_values, worked_out

SERIES = {
    "forty without visits": {"n_patients": 40, "seed": 8, "visits": False, "log": False},
    "sixty": {"n_patients": 60, "seed": 8},
}


@pytest.mark.parametrize("options", SERIES.values(), ids=SERIES)
def test_no_small_count_can_be_worked_out_from_what_is_printed(options):
    masked = made_series_of(**options).masked
    assert len(masked.protection.intervals) > 10
    assert len(shown_values(masked)) > 30
    assert masked.withheld["counts_withheld"].sum() > 30
    assert worked_out(masked, SMALLEST_CELL) == []


def test_the_attack_works_them_out_where_only_small_counts_are_withheld(monkeypatch):
    """Else finding none would prove nothing."""
    protected = masking._protected
    monkeypatch.setattr(masking, "_protected", lambda *of: replace(protected(*of), complementary=frozenset()))
    masked = made_series_of(**SERIES["forty without visits"]).masked
    assert worked_out(masked, SMALLEST_CELL)

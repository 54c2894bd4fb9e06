"""The worked cases: a site drilled as planned, and one with a misread stop before any with more deviations."""

from __future__ import annotations

import pandas as pd
import pytest

from liftseries.geometry.derived import derive
from liftseries.geometry.examples import ladder_cases

# Lowest floor 5 mm, highest 6 mm, margin and step 1 mm: rungs 4, 5, 6. Drills of whole lengths, no stop but one.
DRILLS = [4, 5, 6, 7, 9, 12]
PASSES = {
    "planned": [(4, None, 4, "closed"), (5, None, 5, "closed"), (6, None, 6, "open")],
    # A 12 mm drill with a stop of 7 mm reaches 5; at the second pass the 7 engraved on it was taken for the depth.
    "misread": [(4, None, 4, "closed"), (12, 7, 7, "closed"), (6, None, 6, "open")],
    # First depth, advance and end too deep, drilled on after the floor was open: four deviations.
    "worst": [(7, None, 7, "open"), (9, None, 9, "open")],
}


@pytest.fixture
def cases(checked, limits):
    def found(order: list[str], passes: dict = PASSES) -> pd.DataFrame:
        sites = checked(
            "sites",
            [
                {
                    "site_id": name,
                    "approach": "freehand",
                    "rbh_min_mm": 5.0,
                    "rbh_max_mm": 6.0,
                    "platform_depth_mm": 0.0,
                }
                | {"implant_diameter_mm": 4.1, "implant_length_mm": 9.0}
                for name in order
            ],
        )
        instruments = checked(
            "instruments",
            [
                {"instrument_id": f"d{length}", "role": "widening", "approach": "freehand", "length_mm": float(length)}
                | {"diameter_mm": 3.0}
                for length in DRILLS
            ],
        )
        stops = checked("stops", [{"stop_id": "s7", "marking_mm": 7.0, "marking_means": "length"}])
        steps = checked(
            "steps",
            [
                {"site_id": name, "step_no": k, "instrument_id": f"d{length}", "stop_id": stop and f"s{stop}"}
                | {"intended_depth_mm": float(intended), "finding": finding}
                for name in order
                for k, (length, stop, intended, finding) in enumerate(passes[name], start=1)
            ],
        ).sample(frac=1, random_state=3, ignore_index=True)
        derived_steps, derived = derive(sites, steps, instruments, stops, limits, pd.Series(["c"] * len(order)))
        return ladder_cases(sites, derived, derived_steps, instruments, stops, limits)

    return found


@pytest.mark.parametrize("order", [["planned", "misread", "worst"], ["worst", "misread", "planned"]])
def test_a_misread_stop_goes_before_more_deviations(cases, order):
    found = cases(order)
    planned, strayed = (found[found["case"].eq(case)] for case in (1, 2))
    assert planned["deviations"].eq("").all()
    assert planned["site_label"].eq("as planned").all()
    assert planned["rungs_mm"].eq("4 5 6").all()
    assert planned["depth_mm"].tolist() == [4, 5, 6]
    assert strayed["deviations"].eq("intended_missed stop_misread").all()
    # The misread pass is the second, and the passes stand in their order whatever that of the rows.
    assert strayed["step_no"].tolist() == [1, 2, 3]
    assert strayed["stop_length_mm"].tolist() == [0, 7, 0]
    assert strayed["depth_mm"].tolist() == [4, 5, 6]


def test_without_a_misread_stop_most_deviations_are_shown(cases):
    found = cases(["planned", "worst"])
    assert "overdrilled" in found.loc[found["case"].eq(2), "deviations"].iloc[0]


def test_a_series_all_as_planned_has_one_case(cases):
    assert cases(["planned"])["case"].unique().tolist() == [1]

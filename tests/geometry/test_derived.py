"""Whole tables: random studies against the slow oracle, and what must not matter: order, types, others."""

from contextlib import suppress
from dataclasses import replace

import numpy as np
import oracle
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st
from studies_drawn import SHORTEST_MM, length_stop, studies

from liftseries.geometry.derived import SITE_COLUMNS, STEP_COLUMNS, Limits, reach
from liftseries.geometry.derived import derive as derive_tables
from liftseries.geometry.deviations import DEVIATIONS

TABLES = ("sites", "steps", "instruments", "stops")
HAIR_MM = 1e-9
# A fixture that gives a pure function may be shared by all examples.
drawn = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=60)


def tables_of(study, checked):
    return [checked(name, study[name]) for name in TABLES]


def derive(sites, steps, instruments, stops, limits, centre=None):
    """`derived.derive`; of one centre where none are told."""
    centre = pd.Series(["c"] * len(sites)) if centre is None else pd.Series(centre, dtype=object)
    return derive_tables(sites, steps, instruments, stops, limits, centre)


def derived(study, checked):
    """Derived steps by site and pass, derived sites by site."""
    centre = [site.get("centre") for site in study["sites"]]
    steps, sites = derive(*tables_of(study, checked), Limits(**study["plan"]), centre)
    return steps.set_index(["site_id", "step_no"]), sites.set_index("site_id")


def same(found, told) -> bool:
    """Equal, numbers to a nanometre; missing only where the oracle has none."""
    if told is None or pd.isna(found):
        return told is None and pd.isna(found)
    if isinstance(told, str):
        return found == told
    return abs(float(found) - float(told)) <= HAIR_MM


# ── against the oracle ────────────────────────────────────────────────────────────────────────────


@drawn
@given(studies())
def test_whole_studies_agree_with_the_oracle_in_every_column(checked, study):
    steps, sites = derived(study, checked)
    assert len(steps) == len(study["steps"])
    assert list(sites.index) == [site["site_id"] for site in study["sites"]]
    for site in study["sites"]:
        log = [row for row in study["steps"] if row["site_id"] == site["site_id"]]
        told = oracle.derive_site(site, study)
        found = sites.loc[site["site_id"]]
        rungs = told.pop("rungs")
        assert pd.isna(found["plan_problem"]) == bool(rungs)
        assert same(found["planned_rungs"], len(rungs) or None)
        compared = [name for name in told if name != "site_id"]
        assert set(compared) == set(SITE_COLUMNS) - {"site_id", "planned_rungs", "plan_problem"}
        assert {name: told[name] for name in compared if not same(found[name], told[name])} == {}
        for one_pass in oracle.derive_steps(site, log, study["instruments"], study["stops"]):
            found = steps.loc[(site["site_id"], one_pass["step_no"])]
            assert {name: one_pass[name] for name in STEP_COLUMNS if not same(found[name], one_pass[name])} == {}


def test_the_drawn_studies_show_every_deviation_and_its_absence():
    """Else agreement with the oracle would prove nothing. With a ladder, so that the plan takes part.

    What hypothesis draws, derandomised or not, depends on which modules a process has loaded, so there are enough
    studies that none of these is missed by chance.
    """

    class AllSeen(Exception):
        """Ends the drawing."""

    seen, wanted = set(), {(name, answer) for name in DEVIATIONS for answer in (True, False, None)}

    @settings(derandomize=True, max_examples=5000, phases=[Phase.generate], deadline=None, database=None)
    @given(studies())
    def look(study):
        if seen == wanted:
            raise AllSeen
        for site in study["sites"]:
            told = oracle.derive_site(site, study)
            if told["rungs"]:
                seen.update((name, told[name]) for name in DEVIATIONS)

    with suppress(AllSeen):
        look()
    assert seen == wanted


# ── what must not matter ──────────────────────────────────────────────────────────────────────────


@drawn
@given(studies(), st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_nothing_but_the_order(checked, study, chance):
    shuffled = {**study, **{name: chance.sample(study[name], len(study[name])) for name in TABLES}}
    steps, sites = derived(study, checked)
    steps_shuffled, sites_shuffled = derived(shuffled, checked)
    assert list(sites_shuffled.index) == [row["site_id"] for row in shuffled["sites"]]
    assert list(steps_shuffled.index) == [(row["site_id"], row["step_no"]) for row in shuffled["steps"]]
    pd.testing.assert_frame_equal(sites_shuffled.loc[sites.index], sites)
    pd.testing.assert_frame_equal(steps_shuffled.loc[steps.index], steps)


@drawn
@given(studies(), st.integers(1, 5))
def test_blocks_change_nothing(checked, study, passes_a_block):
    """Logs are worked through some at a time; where one block ends is nobody's business."""
    steps, sites = derived(study, checked)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("liftseries.geometry.derived.PASSES_A_BLOCK", passes_a_block)
        steps_in_blocks, sites_in_blocks = derived(study, checked)
    pd.testing.assert_frame_equal(steps_in_blocks, steps)
    pd.testing.assert_frame_equal(sites_in_blocks, sites)


@drawn
@given(studies())
def test_a_site_is_judged_by_itself(checked, study):
    """Leaving the first site and its log out changes nothing at the others, but whether its centre tells of probing."""
    study = {**study, "sites": [{**site, "centre": site["site_id"]} for site in study["sites"]]}
    assume(len(study["sites"]) > 1)
    gone = study["sites"][0]["site_id"]
    fewer = {
        **study,
        **{name: [row for row in study[name] if row["site_id"] != gone] for name in ("sites", "steps")},
    }
    steps, sites = derived(study, checked)
    steps_fewer, sites_fewer = derived(fewer, checked)
    pd.testing.assert_frame_equal(sites_fewer, sites.drop(gone))
    kept = steps[steps.index.get_level_values("site_id") != gone]
    pd.testing.assert_frame_equal(steps_fewer, kept, check_index_type=False)


@drawn
@given(studies(), st.integers(1, SHORTEST_MM))
def test_one_more_stop_never_lowers_the_planned_first_depth(checked, study, marking):
    more = {**study, "stops": [*study["stops"], {**length_stop(marking), "stop_id": "one more"}]}
    before, after = (derived(one, checked)[1]["planned_first_mm"] for one in (study, more))
    planned = before.notna()
    assert (after[planned] >= before[planned] - HAIR_MM).all()


@drawn
@given(studies())
def test_depths_are_monotone(checked, study):
    """The hole never gets shallower from pass to pass; advance and depth tell the same."""
    steps = derived(study, checked)[0].sort_index()
    for _, log in steps.groupby(level="site_id", observed=True):
        assert log["deepest_before_mm"].iloc[0] == 0
        assert (np.diff(log["deepest_before_mm"]) >= 0).all()
        drills = log["advance_mm"].notna()
        again = (log["deepest_before_mm"] + log["advance_mm"]).to_numpy()
        assert again[drills] == pytest.approx(log["depth_mm"].to_numpy()[drills], abs=HAIR_MM)


@pytest.mark.parametrize(("low_mm", "high_mm"), [(7.0, 7.1), (7.0, 13.0)])
def test_a_longer_drill_goes_deeper_and_a_longer_stop_less_deep(log, low_mm, high_mm):
    depth = log(f"length_mm | stop\n{low_mm} | 3\n{high_mm} | 3\n13 | {low_mm}\n13 | {high_mm}")[0]["depth_mm"]
    assert depth[1] - depth[0] == pytest.approx(high_mm - low_mm)
    assert depth[2] - depth[3] == pytest.approx(high_mm - low_mm)


@pytest.mark.parametrize("ids_as", ["object", "string", "string[pyarrow]", "category", "arrow dictionary"])
def test_ids_of_any_text_type_give_the_same(checked, two_sites, limits, ids_as):
    """A Parquet file may bring any of these."""
    tables = tables_of(two_sites, checked)
    expected_steps, expected_sites = derive(*tables, limits)
    for table in tables:
        for name in [name for name in table if name.endswith("_id")]:
            if ids_as == "arrow dictionary":
                import pyarrow as pa

                table[name] = table[name].astype(pd.ArrowDtype(pa.dictionary(pa.int32(), pa.string())))
            else:
                table[name] = table[name].astype(ids_as)
    steps, sites = derive(*tables, limits)
    for name in STEP_COLUMNS:
        pd.testing.assert_series_equal(steps[name], expected_steps[name])
    assert list(sites["site_id"]) == list(expected_sites["site_id"])
    pd.testing.assert_frame_equal(sites.drop(columns="site_id"), expected_sites.drop(columns="site_id"))


@pytest.mark.parametrize("levels_as", ["object", "string"])
def test_levels_as_plain_text_give_the_same(checked, two_sites, limits, levels_as):
    tables = tables_of(two_sites, checked)
    expected = derive(*tables, limits)[1]
    plain = [table.astype(dict.fromkeys(table.select_dtypes("category"), levels_as)) for table in tables]
    pd.testing.assert_frame_equal(derive(*plain, limits)[1], expected)


def test_tables_come_back_as_given_with_columns_appended(checked, two_sites, limits):
    tables = tables_of(two_sites, checked)
    kept = [table.copy() for table in tables]
    steps, sites = derive(*tables, limits)
    for table, copy in zip(tables, kept, strict=True):
        pd.testing.assert_frame_equal(table, copy)
    pd.testing.assert_frame_equal(steps[list(kept[1])], kept[1])
    assert list(steps) == [*kept[1], *STEP_COLUMNS]
    assert list(sites) == list(SITE_COLUMNS)


def test_row_labels_do_not_matter(checked, two_sites, limits):
    """A table that was filtered or sorted has labels that are no row numbers."""
    tables = tables_of(two_sites, checked)
    expected_steps, expected_sites = derive(*tables, limits)
    labelled = [table.set_axis(range(100, 100 + 7 * len(table), 7)[::-1]) for table in tables]
    steps, sites = derive(*labelled, limits)
    pd.testing.assert_frame_equal(steps.reset_index(drop=True), expected_steps)
    pd.testing.assert_frame_equal(sites.reset_index(drop=True), expected_sites)


# ── small and missing tables ──────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("steps_are", ["missing", "empty"])
def test_without_a_log_the_plan_stands_alone(checked, two_sites, limits, steps_are):
    sites, steps, instruments, stops = tables_of(two_sites, checked)
    expected = derive(sites, steps, instruments, stops, limits)[1]
    steps, found = derive(sites, None if steps_are == "missing" else steps.iloc[:0], instruments, stops, limits)
    assert steps is None if steps_are == "missing" else len(steps) == 0
    assert found[list(DEVIATIONS)].isna().all(axis=None)
    assert (found[list(DEVIATIONS)].dtypes == "boolean").all()
    planned = SITE_COLUMNS[: SITE_COLUMNS.index("achieved_first_mm")]
    pd.testing.assert_frame_equal(found[list(planned)], expected[list(planned)])
    assert found[list(SITE_COLUMNS[len(planned) : -len(DEVIATIONS)])].isna().all(axis=None)


def test_without_any_stop_or_any_drill_of_the_approach(checked, two_sites, limits):
    """Guided 7 mm bare is too deep to begin with; freehand there is no drill at all."""
    bare = {
        **two_sites,
        "steps": [],
        "stops": [],
        "instruments": [row for row in two_sites["instruments"] if row["approach"] == "guided"],
    }
    sites = derived({**bare, "plan": vars(limits)}, checked)[1]
    assert "no first rung" in sites.loc["north", "plan_problem"]
    assert "no drill" in sites.loc["south", "plan_problem"]


def test_the_margin_is_the_approach_s(checked, two_sites, limits):
    """Freehand 2 mm short instead of 1: the south begins 1 mm shallower, the north as before."""
    careful = replace(limits, first_depth_margin_mm={"guided": 1.0, "freehand": 2.0})
    first = derive(*tables_of(two_sites, checked), limits)[1]["planned_first_mm"]
    first_careful = derive(*tables_of(two_sites, checked), careful)[1]["planned_first_mm"]
    assert (first - first_careful).tolist() == [0, 1]


def test_reach_gives_rows_of_the_tables_handed_in(checked, two_sites):
    """Freehand drills are the last row; its gauges there are none."""
    _, _, instruments, stops = tables_of(two_sites, checked)
    drills = reach(instruments, stops, "freehand")
    assert set(drills.instrument) == {3}
    assert drills.travel_mm.tolist() == [12 - 9, 12 - 8, 12 - 7, 12 - 6, 12 - 5, 12 - 4, 12 - 3, 12]
    assert stops["marking_mm"].to_numpy()[drills.stop[:-1]].tolist() == [9, 8, 7, 6, 5, 4, 3]
    assert drills.stop[-1] == -1
    assert set(reach(instruments, stops, "guided", gauges=True).instrument) == {2}
    assert reach(instruments, stops, "freehand", gauges=True).travel_mm.size == 0


@pytest.fixture
def two_sites():
    """A guided and a freehand site, worked through by hand in the test below."""
    sites = [
        {
            "site_id": "north", "approach": "guided", "rbh_min_mm": 4.0, "rbh_max_mm": 5.0,
            "implant_diameter_mm": 4.0, "implant_length_mm": 8.5, "platform_depth_mm": 0.0,
            "soft_tissue_mm": 3.0, "guide_offset_mm": 10.5,
        },
        {
            "site_id": "south", "approach": "freehand", "rbh_min_mm": 5.5, "rbh_max_mm": 6.5,
            "implant_diameter_mm": 5.0, "implant_length_mm": 8.0, "platform_depth_mm": 1.0,
        },
    ]  # fmt: skip
    drill = {"role": "widening", "diameter_mm": 3.2}
    instruments = [
        {"instrument_id": "g7", "approach": "guided", "length_mm": 7.0, "guide_shank_mm": 7.5, **drill},
        {"instrument_id": "g10", "approach": "guided", "length_mm": 10.0, "guide_shank_mm": 7.5, **drill},
        {
            "instrument_id": "probe",
            "approach": "guided",
            "length_mm": 10.0,
            "diameter_mm": 2.8,
            "role": "gauge",
        },
        {"instrument_id": "f12", "approach": "freehand", "length_mm": 12.0, **drill},
    ]
    stops = [length_stop(float(marking)) for marking in range(3, 10)]
    passes = [
        ("south", 2, "f12", "stop of 5", 7.0, 900.0, "open"),
        ("north", 1, "g7", "stop of 3", 3.0, 800.0, "closed"),
        ("north", 3, "g10", None, None, None, "open"),
        ("south", 1, "f12", "stop of 8", 4.0, 600.0, "closed"),
        ("north", 2, "probe", "stop of 6", 4.0, None, "closed"),
    ]
    keys = ["site_id", "step_no", "instrument_id", "stop_id", "intended_depth_mm", "speed_rpm", "finding"]
    steps = [dict(zip(keys, row, strict=True)) for row in passes]
    return {"sites": sites, "steps": steps, "instruments": instruments, "stops": stops}


def test_two_sites_by_hand(checked, two_sites, limits):
    """North: the classic misreading drills 4, probed; the bare 10 mm drill starts 7.5 + 4 - 10 = 1.5 mm in.

    South, freehand, so without the platform: 4 and 7 mm against a plan of 4, 5, 6, 7, the second at 900 rpm and 3 mm at
    once; the first, which had reached planned_first_mm, was felt closed.
    """
    steps, sites = derive(*tables_of(two_sites, checked), limits)
    assert steps["depth_mm"].tolist() == [7, 4, 10, 4, 4]
    assert steps["stop_length_mm"].tolist() == [5, 3, 0, 8, 6]
    assert steps["deepest_before_mm"].tolist() == [4, 0, 4, 0, 4]
    assert steps["advance_mm"].tolist() == pytest.approx([3, 4, 6, 4, np.nan], nan_ok=True)
    assert steps["engagement_mm"].tolist() == pytest.approx([np.nan, 0.5, 1.5, np.nan, np.nan], nan_ok=True)
    north, south = (sites.loc[row] for row in (0, 1))
    assert {name for name in DEVIATIONS if north[name]} == {
        "first_too_deep", "advance_too_large", "overdrilled", "intended_missed", "stop_misread"
    }  # fmt: skip
    assert not north["probe_mismatch"]
    judged = [name for name in DEVIATIONS if name != "probe_mismatch"]
    assert {name for name in judged if south[name]} == {"advance_too_large", "speed_high"}
    assert south["probe_mismatch"] is pd.NA
    told = ["planned_first_mm", "planned_last_mm", "planned_rungs", "achieved_first_mm", "achieved_last_mm"]
    assert [north["ended"], south["ended"]] == ["deeper", "at_plan"]
    assert north[told].tolist() == [3, 5, 3, 4, 10]
    assert south[told].tolist() == [4, 7, 4, 4, 7]
    errors = [
        "breakthrough_mm",
        "first_error_mm",
        "last_error_mm",
        "overdrill_mm",
        "rbh_mid_mm",
        "protrusion_mm",
    ]
    assert north[errors].tolist() == [10, 1, 5, 5, 4.5, 4]
    assert south[errors].tolist() == [7, 0, 0, 0.5, 6, 3]  # the platform counts in the lift, also freehand
    assert north["floor_slope_deg"] == pytest.approx(np.degrees(np.arctan(1 / 4)))
    assert south["dome_ml"] == pytest.approx(42 * np.pi / 1000)

"""The ten deviations: each true, and just not true where the tolerance of 0.05 mm ends; and what stays empty.

The drawn site (see conftest): freehand, lowest floor 5 mm, highest 6 mm, margin and step 1 mm, so the plan
is 4, 5, 6 mm and the limit of the first depth 4 mm. A drill pass without a stop, and a gauge (with one that takes
nothing off), reach their `length_mm`; findings are `not_tested` where none is drawn; the centre tells of probing.
"""

from dataclasses import replace

import pandas as pd
import pytest

from liftseries.geometry.derived import derive
from liftseries.geometry.deviations import DEVIATIONS

AS_PLANNED = """
    role     | length_mm | rpm | finding    | intended_mm
    widening | 4         | 800 | not_tested | 4
    gauge    | 4         |     | closed     | 4
    widening | 5         | 800 | not_tested | 5
    gauge    | 5         |     | closed     | 5
    widening | 6         | 800 | not_tested | 6
    gauge    | 6         |     | open       | 6
"""


def shown(site: pd.Series) -> set[str]:
    """The deviations that are true."""
    return {name for name in DEVIATIONS if not pd.isna(site[name]) and site[name]}


def test_a_log_as_planned_shows_no_deviation(judge):
    site = judge(AS_PLANNED)
    assert [site[name] for name in DEVIATIONS] == [False] * 10
    assert site["achieved_first_mm"] == site["planned_first_mm"] == 4
    assert site["achieved_last_mm"] == site["planned_last_mm"] == 6
    assert site["planned_rungs"] == 3
    assert site["breakthrough_mm"] == 6


# ── first_too_deep ────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("tenth", range(15, 90))
def test_first_too_deep_begins_past_the_tolerance_for_every_tenth_of_bone(judge, tenth):
    """Binary numbers put some of these sums a hair above the limit and some below; the decimals are equal."""
    lowest = tenth / 10
    at_the_edge, past_it = f"{lowest - 1 + 0.05:.2f}", f"{lowest - 1 + 0.06:.2f}"
    for depth, too_deep in ((at_the_edge, False), (past_it, True)):
        site = judge(f"length_mm\n{depth}", rbh_min_mm=lowest, rbh_max_mm=lowest + 1)
        assert site["first_too_deep"] == too_deep


def test_the_sweep_above_meets_binary_noise():
    """Else it would prove nothing: a bare comparison calls some of the equal depths too deep."""
    bare = [round(tenth / 10 - 0.95, 2) > tenth / 10 - 1 + 0.05 for tenth in range(15, 90)]
    assert 0 < sum(bare) < len(bare)


def test_a_stop_on_a_decimal_length_is_not_too_deep_by_a_hair(judge):
    """11.2 - 7 = 4.2, 4.199… in binary; 5.15 - 1 + 0.05 = 4.2 is the limit. 9.2 - 4.9 = 4.3 is past it."""
    assert not judge("length_mm | stop\n11.2 | 7", rbh_min_mm=5.15)["first_too_deep"]
    assert judge("length_mm | stop\n9.2 | 4.9", rbh_min_mm=5.15)["first_too_deep"]


def test_the_limit_of_the_first_depth_has_the_margin_of_the_approach(judge, limits):
    """3.5 mm under 5 mm of bone: short enough by 1 mm, not by 2."""
    careful = replace(limits, first_depth_margin_mm={"guided": 1.0, "freehand": 2.0})
    assert not judge("length_mm\n3.5")["first_too_deep"]
    assert judge("length_mm\n3.5", careful)["first_too_deep"]
    assert not judge("length_mm | shank_mm\n3.5 | 9", careful, approach="guided")["first_too_deep"]


def test_the_first_depth_is_the_deepest_before_the_first_gauge_that_drilling_follows(judge):
    site = judge("""
        role     | length_mm
        widening | 4
        widening | 4.3
        widening | 3
        gauge    | 4.3
        widening | 6
    """)
    assert site["achieved_first_mm"] == 4.3
    assert site["first_error_mm"] == pytest.approx(0.3)
    assert site["first_too_deep"]


@pytest.mark.parametrize("after", ["", "widening | 4.3", "widening | 4.35", "gauge | 4.3\nwidening | 3"])
def test_a_gauge_that_only_closes_the_log_ends_no_first_stage(judge, after):
    """4.35 after 4.3 does not deepen: 0.05 is the tolerance. So the first depth is the first drill pass."""
    site = judge(f"role | length_mm\nwidening | 4\nwidening | 4.3\ngauge | 4.3\n{after}")
    assert site["achieved_first_mm"] == 4
    assert not site["first_too_deep"]
    assert judge("role | length_mm\nwidening | 4\nwidening | 4.3\ngauge | 4.3\nwidening | 4.36")["first_too_deep"]


@pytest.mark.parametrize(("finding", "first_mm"), [("closed", 4.2), ("open", 4.2), ("not_tested", 4)])
def test_a_drill_pass_that_was_felt_ends_the_first_stage_and_belongs_to_it(judge, finding, first_mm):
    site = judge(f"length_mm | finding\n4 | not_tested\n4.2 | {finding}\n5 | not_tested\n6 | not_tested")
    assert site["achieved_first_mm"] == first_mm
    assert site["first_too_deep"] == (first_mm > 4.05)


def test_a_gauge_ends_the_first_stage_whatever_it_found(judge):
    """A gauge pass is a probing, also one whose finding is not told."""
    site = judge(
        "role | length_mm | finding\nwidening | 4 |\nwidening | 4.2 |\ngauge | 4.2 | not_tested\nwidening | 5 |"
    )
    assert site["achieved_first_mm"] == 4.2


def test_only_the_first_probing_counts(judge):
    """4 felt, 5 felt, 6: the first stage ended at 4. Whether the next pass or a later one deepens is all one."""
    assert judge("length_mm | finding\n4 | closed\n5 | closed\n6 |")["achieved_first_mm"] == 4
    assert judge("length_mm | finding\n4 | closed\n3 |\n4 |\n6 |")["achieved_first_mm"] == 4


def test_without_a_probing_the_first_depth_is_the_first_drill_pass(judge):
    site = judge("length_mm\n4\n6")
    assert site["achieved_first_mm"] == 4
    assert not site["first_too_deep"]


# ── advance_too_large ─────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("first", "second", "too_large"),
    [
        ("4", "5.05", False),  # advance 1.05 = step + tol
        ("4", "5.06", True),
        ("3", "4.05", False),  # 1.05, and no deeper than planned_first + tol
        ("2", "4.05", False),  # 2.05 mm at once, but ends no deeper than planned_first + tol
        ("2", "4.06", True),
        ("4.2", "5.25", False),  # 5.25 - 4.2 is 1.05 and a hair in binary
        ("4.1", "5.15", False),
    ],
)
def test_advance_too_large_past_the_first_depth(judge, first, second, too_large):
    assert judge(f"length_mm\n{first}\n{second}")["advance_too_large"] == too_large


def test_the_first_drill_pass_is_never_too_large_an_advance(judge):
    """5.5 mm at once is too deep a first depth, and told as that alone; a gauge before changes nothing."""
    assert shown(judge("length_mm\n5.5")) == {"first_too_deep"}
    assert not judge("role | length_mm\ngauge | 1\nwidening | 5.5")["advance_too_large"]


def test_an_advance_counts_from_the_deepest_pass_not_from_the_last(judge):
    """6 after 5 and a shallow 2 advances 1 mm."""
    assert not judge("length_mm\n4\n5\n2\n6")["advance_too_large"]


# ── unguided_start ────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("shank_mm", "unguided"), [("6.9", True), ("7", True), ("7.1", False)], ids=["short", "edge", "in"]
)
def test_unguided_start_of_a_7_mm_drill(judge, shank_mm, unguided):
    """Engagement -0.1, 0 and 0.1: zero counts as unguided."""
    drawing = f"length_mm | stop | shank_mm\n7 | 3 | {shank_mm}"
    assert judge(drawing, approach="guided", guide_offset_mm=10.5)["unguided_start"] == unguided


@pytest.mark.parametrize("tenth", range(60, 140))
def test_a_shank_as_long_as_the_way_down_is_unguided_for_every_tenth(judge, tenth):
    """Drill length and platform with binary noise; 0.1 mm more shank, and it is held."""
    length, platform = tenth / 10, 0.3
    for shank, unguided in ((length + 0.3, True), (length + 0.4, False)):
        site = judge(
            f"length_mm | stop | shank_mm\n{length} | 4 | {shank:.1f}",
            approach="guided",
            platform_depth_mm=platform,
            guide_offset_mm=12.0,
        )
        assert site["unguided_start"] == unguided


def test_only_a_pass_that_deepens_can_start_unguided(judge):
    """The 10 mm drill with a shank of 5 is 1 mm short of the guide at 4 mm; to 4.05 it follows the hole."""
    drawing = "length_mm | stop | shank_mm\n7 | 3 | 9\n10 | {} | 5"
    site = {"approach": "guided", "guide_offset_mm": 10.5}
    assert not judge(drawing.format("5.95"), **site)["unguided_start"]
    assert judge(drawing.format("5.94"), **site)["unguided_start"]


def test_mucosa_as_high_as_the_guide_leaves_nothing_to_be_held_by(judge):
    site = {"approach": "guided", "guide_offset_mm": 3.0}
    drawing = "length_mm | stop | shank_mm\n7 | 3 | 9"
    assert judge(drawing, **site, soft_tissue_mm=3.0)["unguided_start"]
    assert not judge(drawing, **site, soft_tissue_mm=2.9)["unguided_start"]
    assert not judge(drawing, **site, soft_tissue_mm=None)["unguided_start"]  # unknown: the shank alone, 2 mm in


def test_a_gauge_does_not_start(judge):
    drawing = "role | length_mm | stop | shank_mm\nwidening | 7 | 3 | 9\ngauge | 10 | 5 | 1"
    assert not judge(drawing, approach="guided", guide_offset_mm=10.5)["unguided_start"]


# ── not_probed ────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("first", "unprobed"), [("3.94", False), ("3.95", True), ("4", True)])
def test_not_probed_from_the_first_depth_less_the_tolerance_on(judge, first, unprobed):
    assert judge(f"length_mm\n{first}\n5")["not_probed"] == unprobed


@pytest.mark.parametrize(
    ("between", "unprobed"),
    [
        ("gauge | 4 | closed", False),
        ("gauge | 4 | not_tested", False),
        ("widening | 4.05 | not_tested", True),
        ("widening | 4.05 | closed", False),
        ("widening | 3 | open", False),
        ("widening | 4.05 |\ngauge | 4 |", False),
    ],
    ids=[
        "gauge",
        "gauge without a finding",
        "a pass that does not deepen",
        "such a pass, felt",
        "felt open",
        "then a gauge",
    ],
)
def test_a_probing_anywhere_between_two_deepening_passes_probes(judge, between, unprobed):
    drawing = f"role | length_mm | finding\nwidening | 4 |\n{between}\nwidening | 5 |"
    assert judge(drawing)["not_probed"] == unprobed


@pytest.mark.parametrize(("of_first", "of_second", "unprobed"), [
    ("closed", "not_tested", False), ("open", "not_tested", False),
    ("not_tested", "closed", True), ("not_tested", "not_tested", True),
])  # fmt: skip
def test_a_pass_s_own_finding_probes_it_and_the_next_one_s_comes_too_late(judge, of_first, of_second, unprobed):
    assert judge(f"length_mm | finding\n4 | {of_first}\n5 | {of_second}")["not_probed"] == unprobed


def test_findings_at_each_drill_pass_and_no_gauge_are_as_good_as_gauges(judge):
    """How some centres keep their logs: nothing is unprobed, the first depth is the first pass felt."""
    site = judge("length_mm | finding\n4 | closed\n5 | closed\n6 | open")
    assert shown(site) == set()
    assert [site[name] for name in ("achieved_first_mm", "ended", "not_probed")] == [4, "at_plan", False]


@pytest.mark.parametrize("drawing", ["length_mm\n4\n5", "length_mm\n3"])
def test_where_no_log_of_the_centre_tells_of_probing_it_cannot_be_judged(judge, drawing):
    assert judge(drawing, centre_probes=False)["not_probed"] is pd.NA
    assert judge(drawing)["not_probed"] == (drawing != "length_mm\n3")


def test_a_centre_tells_of_probing_for_its_own_sites_alone(checked, limits):
    """Sites a and b of one centre, c of another: a's gauge lets b's log be judged, not c's; without a log none is."""
    site = {"approach": "freehand", "rbh_min_mm": 5.0, "rbh_max_mm": 6.0, "platform_depth_mm": 0.0}
    sites = [{**site, "site_id": name, "implant_diameter_mm": 4.0, "implant_length_mm": 9.0} for name in "abcd"]
    drill = {"instrument_id": "drill", "role": "pilot", "approach": "freehand", "diameter_mm": 2.0, "length_mm": 4.0}
    tray = [drill, {**drill, "instrument_id": "gauge", "role": "gauge"}]
    passes = [("a", 1, "gauge"), ("b", 1, "drill"), ("c", 1, "drill")]
    steps = [{"site_id": s, "step_no": n, "instrument_id": i, "finding": "not_tested"} for s, n, i in passes]
    tables = {"sites": sites, "steps": steps, "instruments": tray, "stops": []}
    _, found = derive(*(checked(*table) for table in tables.items()), limits, centre=pd.Series(["n", "n", "s", "n"]))
    assert found["not_probed"].isna().tolist() == [False, False, True, True]


def test_the_tolerance_on_the_side_of_the_limit(judge):
    """The limit stands in where there is no ladder: at 3.95 a probing is due, a hair above 3.94 is none."""
    assert judge("length_mm\n3.95\n5", rbh_max_mm=30.0)["not_probed"]
    assert not judge("length_mm\n3.94\n5", rbh_max_mm=30.0)["not_probed"]


def test_the_last_deepening_pass_needs_no_probe(judge):
    """No deepening pass follows the 5 mm one: going back in at 5 and 5.05 is not going on."""
    drawing = "role | length_mm\nwidening | 4\ngauge | 4\nwidening | 5\nwidening | 5\nwidening | 5.05"
    assert not judge(drawing)["not_probed"]


def test_a_gauge_before_does_not_probe_what_comes_after(judge):
    assert judge("role | length_mm\ngauge | 0\nwidening | 4\nwidening | 5\ngauge | 5")["not_probed"]


# ── probe_mismatch ────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("reading", ["", "4", "5"])
def test_a_gauge_without_a_stop_is_set_to_no_depth(log, reading):
    """It is 12 mm long; its depth is what was read on it, or empty, and it cannot differ from the hole."""
    steps, site = log(f"""
        role     | length_mm | stop | read_mm   | intended_mm
        widening | 4         |      |           |
        gauge    | 12        | none | {reading} | 9
        widening | 5         |      |           | 5
    """)
    assert steps["depth_mm"].tolist()[1] == pytest.approx(float(reading or "nan"), nan_ok=True)
    assert steps["deepest_before_mm"].tolist() == [0, 4, 4]
    assert site["probe_mismatch"] is pd.NA
    assert not site["intended_missed"]
    assert site["achieved_first_mm"] == 4  # it is a probing all the same


def test_what_is_read_on_a_gauge_with_a_stop_changes_nothing(log):
    steps, site = log("role | length_mm | stop | read_mm\nwidening | 4 | |\ngauge | 12 | 8 | 6")
    assert steps["depth_mm"].tolist() == [4, 4]
    assert not site["probe_mismatch"]


def test_one_gauge_with_a_stop_lets_it_be_judged(judge):
    drawing = "role | length_mm | stop | read_mm\nwidening | 5 | |\ngauge | 12 | none | 3\ngauge | 12 | {} |"
    assert not judge(drawing.format(7))["probe_mismatch"]
    assert judge(drawing.format(6))["probe_mismatch"]


@pytest.mark.parametrize(("gauge", "mismatch"), [("3.94", True), ("3.95", False), ("4.05", False), ("4.06", True)])
def test_probe_mismatch_both_ways(judge, gauge, mismatch):
    assert judge(f"role | length_mm\nwidening | 4\ngauge | {gauge}")["probe_mismatch"] == mismatch


def test_the_gauge_is_held_against_the_deepest_drill_not_the_last(judge):
    drawing = "role | length_mm\nwidening | 5\nwidening | 3\ngauge | {}"
    assert not judge(drawing.format(5))["probe_mismatch"]
    assert judge(drawing.format(3))["probe_mismatch"]


def test_another_gauge_pass_deepens_nothing(judge):
    """A gauge at 6 in a hole of 5 is wrong, another at 5 right; 1 mm before any drill is wrong."""
    assert not judge("role | length_mm\nwidening | 5\ngauge | 5\ngauge | 5")["probe_mismatch"]
    assert judge("role | length_mm\nwidening | 5\ngauge | 6\ngauge | 5")["probe_mismatch"]
    assert judge("role | length_mm\ngauge | 1\nwidening | 5")["probe_mismatch"]


# ── drilled_after_open ────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("after", "deepened"), [("5.05", False), ("5.06", True)])
@pytest.mark.parametrize("felt_by", ["widening | 5", "gauge | 5"])
def test_drilled_after_open(judge, felt_by, after, deepened):
    drawing = f"role | length_mm | finding\nwidening | 5 | closed\n{felt_by} | open\nwidening | {after} | closed"
    assert judge(drawing)["drilled_after_open"] == deepened


def test_the_pass_that_opens_the_floor_is_not_after_it(judge):
    assert not judge("length_mm | finding\n4 | closed\n5 | open")["drilled_after_open"]
    assert not judge("length_mm | finding\n4 | not_tested\n5 | closed")["drilled_after_open"]


def test_without_a_finding_nobody_can_say_whether_drilling_went_on(judge):
    """A finding of the gauge will do; a gauge that found nothing out will not."""
    drawing = "role | length_mm | finding\nwidening | 4 |\ngauge | 4 | {}\nwidening | 5 |"
    assert judge(drawing.format("not_tested"))["drilled_after_open"] is pd.NA
    assert not judge(drawing.format("closed"))["drilled_after_open"]
    assert judge(drawing.format("open"))["drilled_after_open"]


@pytest.mark.parametrize(
    ("drawing", "breakthrough_mm"),
    [
        ("length_mm | finding\n4 | closed\n5 | open\n6 | open", 5),
        ("role | length_mm | finding\nwidening | 4 | closed\ngauge | 6 | open\nwidening | 6 | closed", 4),
        ("length_mm | finding\n5 | closed\n3 | open\n6 | closed", 5),
        ("length_mm | finding\n5 | closed\n6 | not_tested", None),
        ("role | length_mm | finding\ngauge | 2 | open\nwidening | 4 | closed", None),
    ],
    ids=["by a drill", "by the gauge", "in a shallower pass", "never open", "before any drill"],
)
def test_breakthrough_is_the_deepest_drill_pass_up_to_the_first_open_finding(judge, drawing, breakthrough_mm):
    assert judge(drawing)["breakthrough_mm"] == pytest.approx(
        float("nan") if breakthrough_mm is None else breakthrough_mm, nan_ok=True
    )


def test_a_hole_that_never_left_the_platform_breaks_through_where_it_ends(judge):
    """Odd but said: platform 3 mm above the crest, 7 - 5 - 3 = -1, felt open. Last and breakthrough agree."""
    site = judge(
        "length_mm | stop | shank_mm | finding\n7 | 5 | 9 | open",
        approach="guided",
        platform_depth_mm=-3.0,
        guide_offset_mm=10.5,
    )
    assert site["breakthrough_mm"] == site["achieved_last_mm"] == -1


# ── overdrilled ───────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("tenth", range(50, 100))
def test_overdrilled_past_a_step_above_the_highest_floor(judge, tenth):
    highest = tenth / 10
    for hundredths, overdrilled in ((5, False), (6, True)):
        depth = highest + 1 + hundredths / 100
        site = judge(f"length_mm\n4\n{depth:.2f}", rbh_max_mm=highest)
        assert site["overdrilled"] == overdrilled
        assert site["overdrill_mm"] == pytest.approx(1 + hundredths / 100, abs=1e-9)


def test_a_gauge_does_not_overdrill(judge):
    assert not judge("role | length_mm\nwidening | 6\ngauge | 9")["overdrilled"]


# ── speed_high ────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("rpm", "too_fast"), [("800", False), ("800.5", True), ("1200", True), ("", False)])
def test_speed_high_above_the_limit_only(judge, rpm, too_fast):
    """Common practice, no source: about 800 rpm or slower in soft bone. Not recorded is not too fast."""
    assert judge(f"length_mm | rpm\n3 | 600\n4 | {rpm}")["speed_high"] == too_fast


def test_without_any_speed_it_cannot_be_judged(judge):
    assert judge("length_mm | rpm\n3 |\n4 |")["speed_high"] is pd.NA
    assert not judge("length_mm | rpm\n3 | 0\n4 |")["speed_high"]


def test_the_speed_of_a_gauge_does_not_count(judge):
    assert not judge("role | length_mm | rpm\nwidening | 4 | 600\ngauge | 4 | 1200")["speed_high"]


# ── intended_missed and stop_misread ──────────────────────────────────────────────────────────────


def test_the_classic_misreading(judge):
    """Common practice, no source: 3 mm is wanted, so the 3 mm stop goes on the 7 mm drill, which drills 4."""
    site = judge("length_mm | stop | intended_mm\n7 | 3 | 3", rbh_min_mm=4.0, rbh_max_mm=5.0)
    assert site["achieved_first_mm"] == 4
    assert site["planned_first_mm"] == 3
    assert shown(site) == {"first_too_deep", "intended_missed", "stop_misread"}


@pytest.mark.parametrize(
    ("intended", "missed"), [("3.94", True), ("3.95", False), ("4.05", False), ("4.06", True), ("", False)]
)
@pytest.mark.parametrize("role", ["widening", "gauge"])
def test_intended_missed_both_ways_and_for_gauges_too(judge, role, intended, missed):
    drawing = f"role | length_mm | intended_mm\nwidening | 4 | 4\n{role} | 4 | {intended}"
    assert judge(drawing)["intended_missed"] == missed
    assert not judge(drawing)["stop_misread"]  # no stop, or one that takes nothing off: nothing to misread


def test_without_any_intended_depth_neither_can_be_judged(judge):
    site = judge("length_mm | stop\n7 | 3")
    assert site["intended_missed"] is pd.NA
    assert site["stop_misread"] is pd.NA


@pytest.mark.parametrize(
    ("intended", "misread"), [("4.94", False), ("4.95", True), ("5", True), ("5.05", True), ("5.06", False)]
)
def test_a_length_stop_read_as_a_depth(judge, intended, misread):
    """A stop of 5 lets the 17 mm drill go 12 mm deep; the operator meant the 5 mm that it says."""
    site = judge(f"length_mm | stop | means | intended_mm\n17 | 5 | length | {intended}")
    assert site["intended_missed"]
    assert site["stop_misread"] == misread


@pytest.mark.parametrize(
    ("intended", "misread"), [("4.94", False), ("4.95", True), ("5", True), ("5.05", True), ("5.06", False)]
)
def test_a_depth_stop_read_as_a_length(judge, intended, misread):
    """Marked 2 on 7, the stop leaves 2 mm; read as a length it would leave 5."""
    site = judge(f"length_mm | stop | means | marked_on_mm | intended_mm\n7 | 2 | depth | 7 | {intended}")
    assert site["achieved_last_mm"] == 2
    assert site["intended_missed"]
    assert site["stop_misread"] == misread


def test_the_platform_counts_where_a_depth_stop_is_read_as_a_length_but_not_in_a_depth_read_off(judge):
    """Platform 1 mm deep. Depth mark 2 on 7: drills 3, misread 7 - 2 + 1 = 6. Length mark 3: misread 3."""
    site = {"approach": "guided", "platform_depth_mm": 1.0, "guide_offset_mm": 10.5}
    as_length = "length_mm | stop | means | marked_on_mm | intended_mm | shank_mm\n7 | 2 | depth | 7 | {} | 9"
    assert judge(as_length.format(6), **site)["stop_misread"]
    assert not judge(as_length.format(5), **site)["stop_misread"]
    as_depth = "length_mm | stop | intended_mm | shank_mm\n7 | 3 | {} | 9"
    assert judge(as_depth.format(3), **site)["stop_misread"]
    assert not judge(as_depth.format(4), **site)["stop_misread"]


def test_a_misread_stop_counts_at_whatever_pass_it_is(judge):
    """The third pass goes 6 mm deep with a stop of 6 on 12, the fourth 7 with a stop of 5, read as the depth meant."""
    drawing = "length_mm | stop | intended_mm\n4 | | 4\n5 | | 5\n12 | 6 | 6\n12 | 5 | {}"
    assert judge(drawing.format(5))["stop_misread"]
    assert not judge(drawing.format(7))["stop_misread"]


def test_where_both_readings_agree_there_is_nothing_to_misread(judge):
    """A length stop of 6 on 12 mm leaves 6 either way."""
    assert shown(judge("length_mm | stop | intended_mm\n4 ||\n12 | 7 | 5\n12 | 6 | 6")) == {"not_probed"}


# ── ended ─────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("last", "finding", "ended"),
    [
        ("6.06", "open", "deeper"),
        ("6.06", "not_tested", "deeper"),  # nobody need have felt the floor to tell that
        ("6.05", "closed", "at_plan"),
        ("6", "not_tested", "at_plan"),
        ("5.95", "open", "at_plan"),
        ("5.94", "open", "opened_before"),
        ("5.94", "closed", "short"),
        ("5.94", "not_tested", None),
    ],
)
def test_how_the_drilling_ended(judge, last, finding, ended):
    site = judge(f"length_mm | finding\n{last} | {finding}")
    assert site["ended"] == ended
    assert site["last_error_mm"] == pytest.approx(float(last) - 6)


@pytest.mark.parametrize("tenth", range(40, 110, 10))
def test_the_tolerance_of_the_end_in_binary(judge, tenth):
    """Planned to 4 … 10 mm: 0.05 mm less is as planned for each, 0.06 is not."""
    planned = tenth / 10
    for less, ended in ((0.05, "at_plan"), (0.06, "short")):
        drawing = f"length_mm | finding\n{planned - less:.2f} | closed"
        assert judge(drawing, rbh_min_mm=4.0, rbh_max_mm=planned)["ended"] == ended


def test_a_floor_found_open_by_the_gauge_before_any_drill_is_open(judge):
    drawing = "role | length_mm | finding\ngauge | 2 | open\nwidening | 4 | closed"
    assert judge(drawing)["ended"] == "opened_before"


@pytest.mark.parametrize(
    ("drawing", "site"),
    [("length_mm", {}), ("role | length_mm\ngauge | 4", {}), ("length_mm | finding\n4 | closed", {"rbh_max_mm": 30.0})],
    ids=["no log", "no drill pass", "no plan"],
)
def test_where_it_cannot_be_told_how_it_ended(judge, drawing, site):
    assert judge(drawing, **site)["ended"] is None


# ── what stays empty ──────────────────────────────────────────────────────────────────────────────


def test_without_a_log_everything_of_the_log_is_empty(judge):
    """The table of passes is there, but holds none of this site."""
    site = judge("length_mm")
    assert all(site[name] is pd.NA for name in DEVIATIONS)
    drilled = [
        "achieved_first_mm",
        "achieved_last_mm",
        "breakthrough_mm",
        "first_error_mm",
        "last_error_mm",
        "overdrill_mm",
        "ended",
    ]
    assert site[drilled].isna().all()
    assert site["planned_first_mm"] == 4


NEEDS_MORE_THAN_A_LOG = {
    "not_probed", "probe_mismatch", "drilled_after_open", "speed_high", "intended_missed", "stop_misread"
}  # fmt: skip


@pytest.mark.parametrize("approach", ["freehand", "guided"])
def test_a_log_that_tells_of_nothing_else_lets_four_be_judged(judge, approach):
    """Freehand nothing starts outside a guide: that is false and not unknown."""
    site = judge("length_mm | shank_mm\n4 | 9\n5 | 9", centre_probes=False, approach=approach, guide_offset_mm=10.0)
    assert {name for name in DEVIATIONS if site[name] is pd.NA} == NEEDS_MORE_THAN_A_LOG
    assert not site["unguided_start"]


@pytest.mark.parametrize(
    ("column", "value", "judged"),
    [
        ("rpm", "600", {"speed_high"}),
        ("intended_mm", "4", {"intended_missed", "stop_misread"}),
        ("finding", "closed", {"not_probed", "drilled_after_open"}),
        ("finding", "not_tested", set()),
    ],
)
def test_each_record_lets_its_own_be_judged(judge, column, value, judged):
    """Told at one pass of two is enough."""
    site = judge(f"length_mm | {column}\n4 | {value}\n5 |", centre_probes=False)
    assert {name for name in NEEDS_MORE_THAN_A_LOG if site[name] is not pd.NA} == judged


def test_a_gauge_without_a_stop_lets_probing_be_judged_alone(judge):
    site = judge("role | length_mm | stop\nwidening | 4 |\ngauge | 12 | none\nwidening | 5 |", centre_probes=False)
    assert {name for name in NEEDS_MORE_THAN_A_LOG if site[name] is not pd.NA} == {"not_probed"}


def test_a_log_of_gauges_alone_reached_nothing(judge):
    site = judge("role | length_mm\ngauge | 9")
    assert site[["achieved_first_mm", "achieved_last_mm", "breakthrough_mm", "overdrill_mm"]].isna().all()
    assert shown(site) == {"probe_mismatch"}
    assert not site["overdrilled"]


def test_a_gauge_first_leaves_the_first_depth_empty(judge):
    """The deepest drill pass up to the first probing: there is none, so it is not too deep either."""
    site = judge("role | length_mm\ngauge | 0\nwidening | 5")
    assert pd.isna(site["achieved_first_mm"])
    assert not site["first_too_deep"]


def test_where_there_is_no_ladder_the_limit_of_the_first_depth_stands_in(judge):
    """Bone of 30 mm, no way up: from 5 - 1 = 4 mm on, jumps count and probes are due."""
    site = judge("length_mm\n3.9\n5.1", rbh_max_mm=30.0)
    assert pd.isna(site["planned_first_mm"])
    assert pd.isna(site["planned_rungs"])
    assert "no way up" in site["plan_problem"]
    assert shown(site) == {"advance_too_large"}
    assert shown(judge("length_mm\n3.95\n5", rbh_max_mm=30.0)) == {"not_probed"}

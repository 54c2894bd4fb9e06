"""The planned ladder: common practice, cases by hand, and what every ladder must be whatever the tray."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from studies_drawn import tenths

from liftseries.geometry.ladder import (
    NO_DRILL,
    NO_FIRST_RUNG,
    NO_WAY_UP,
    climb,
    plan_ladders,
    rungs_mm,
    settings,
)

HAIR_MM = 1e-9
UNKNOWN = np.nan


def reach(lengths, length_stops=(), depth_stops=(), shank_mm=UNKNOWN):
    """Settings of drills 3 mm thick; `depth_stops` are pairs of marking and the length marked for."""
    stop_lengths = [*length_stops, *(marked_on - marking for marking, marked_on in depth_stops)]
    marked_on = [UNKNOWN] * len(length_stops) + [marked_on for _, marked_on in depth_stops]
    shanks = np.broadcast_to(shank_mm, len(lengths))
    return settings(
        np.array(lengths, float),
        np.full(len(lengths), 3.0),
        shanks,
        np.array(stop_lengths),
        np.array(marked_on),
    )


def ladder_of(travel_mm, lowest, highest, platform=0.0, margin=1.0, step=1.0):
    """First, last, number of rungs and problem of one site."""
    one = plan_ladders(
        np.asarray(travel_mm, float),
        np.array([lowest]),
        np.array([highest]),
        np.array([platform]),
        margin,
        step,
    )
    return one.first_mm[0], one.last_mm[0], one.n_rungs[0], one.problem[0]


def in_words(passes, lengths, stops):
    """Depth, length and stop of each pass; a gauge's length in brackets."""
    return [
        (
            step.depth_mm,
            [lengths[step.instrument]] if step.gauge else lengths[step.instrument],
            stops[step.stop],
        )
        for step in passes
    ]


# ── common practice, no source ────────────────────────────────────────────────────────────────────

STOPS = [1, 2, 3, 4, 5, 6, 7]


def test_lowest_bone_of_4_mm_is_climbed_from_3_mm_with_the_gauge_after_each_rung():
    """Common practice, no source: the 7 mm drill takes the 4, 3, 2 mm stops; the 10 mm gauge 7, 6, 5."""
    passes, problem = climb(reach([7], STOPS), reach([10], STOPS), 4.0, 5.0, 0.0, margin_mm=1.0, step_mm=1.0)
    assert problem is None
    told = [(step.depth_mm, "gauge" if step.gauge else "drill", STOPS[step.stop]) for step in passes]
    assert told == [
        (3, "drill", 4),
        (3, "gauge", 7),
        (4, "drill", 3),
        (4, "gauge", 6),
        (5, "drill", 2),
        (5, "gauge", 5),
    ]


@pytest.mark.parametrize(("margin_mm", "first_mm"), [(1.0, 3), (2.0, 2)], ids=["guided", "freehand, careful"])
def test_the_first_depth_stays_short_of_the_lowest_floor_and_the_last_reaches_the_highest(margin_mm, first_mm):
    """Common practice, no source: 1 mm short guided, 1 to 2 mm freehand."""
    travel = reach([7, 10], STOPS).travel_mm
    first, last, _, _ = ladder_of(travel, 4.0, 5.5, margin=margin_mm)
    assert first == first_mm
    assert last == 6  # whole millimetres only: 5 would stop short of 5.5


def test_passes_advance_1_mm_at_a_time():
    """Common practice, no source."""
    rungs = rungs_mm(reach([7, 10], STOPS).travel_mm, 4.0, 6.5, 0.0, 1.0, 1.0)
    assert rungs == [3, 4, 5, 6, 7]


# ── which depths can be reached ───────────────────────────────────────────────────────────────────


def test_a_depth_stop_goes_on_no_other_length_than_its_own():
    """Marked 4 on 7: 4 mm on the 7 mm drill; the 10 mm drill, on which it would leave 7, goes without."""
    drills = reach([7, 10], depth_stops=[(4, 7)])
    assert drills.travel_mm.tolist() == [4, 7, 10]
    assert drills.stop.tolist() == [0, -1, -1]
    assert drills.length_mm.tolist() == [7, 7, 10]


def test_lengths_that_differ_by_binary_noise_only_are_one_length():
    """1.1 + 2.2 is a hair off 3.3, but the stop marked for 3.3 mm fits."""
    assert 1.1 + 2.2 != 3.3
    assert reach([1.1 + 2.2], depth_stops=[(2, 3.3)]).stop.tolist() == [0, -1]


def test_equal_depths_are_one_rung_whatever_their_binary_noise():
    """11.2 - 7 and 5.2 - 1 are both 4.2 mm, and not the same binary number."""
    assert 11.2 - 7 != 5.2 - 1
    assert reach([11.2], [7]).travel_mm[0] == reach([5.2], [1]).travel_mm[0]


def test_a_stop_may_be_longer_than_the_instrument():
    """9 mm on a 7 mm drill ends 2 mm above the platform: below the crest where the platform lies deeper than that."""
    assert reach([7, 10], [9]).travel_mm.tolist() == [-2, 1, 7, 10]


def test_only_depths_above_0_are_planned_with():
    """Travels -2 and 1: with the platform 2 mm deep the first ends at the crest, at 2.1 it is 0.1 mm deep."""
    assert rungs_mm([-2.0, 1.0], 1.5, 3.0, 2.0, 1.0, 3.0) == []
    assert rungs_mm([-2.0, 1.0], 1.5, 3.0, 2.1, 1.0, 3.0) == pytest.approx([0.1, 3.1])


def test_a_6_5_mm_drill_with_a_7_mm_stop_and_the_platform_2_mm_deep_stands_on_the_ladder():
    """The contract's own example: 6.5 - 7 + 2 = 1.5 mm below the crest, the first rung under 2.5 mm of bone."""
    travel = reach([6.5], [7, 6, 5]).travel_mm
    assert rungs_mm(travel, 2.5, 3.2, 2.0, 1.0, 1.0) == [1.5, 2.5, 3.5]


# ── first, next, last, by hand ────────────────────────────────────────────────────────────────────


def test_each_rung_is_the_deepest_in_reach_of_the_one_before():
    """From 3.0 a step of 1 reaches 3.4 and 3.9: 3.9 it is, then 4.6, and 5.5 as the first past 5.0."""
    assert rungs_mm([3.0, 3.4, 3.9, 4.6, 5.5, 6.0], 4.0, 5.0, 0.0, 1.0, 1.0) == [3.0, 3.9, 4.6, 5.5]


def test_the_first_rung_may_lie_well_short():
    """With nothing between 1.5 and 3.5 the drilling begins at 1.5, and the step of 2 takes it on."""
    assert rungs_mm([1.5, 3.5, 5.5], 4.0, 5.0, 0.0, 1.0, 2.0) == [1.5, 3.5, 5.5]


def test_one_rung_is_a_whole_ladder_where_the_margin_is_none_and_the_floor_level():
    assert ladder_of([3.0, 4.0, 5.0], 4.0, 4.0, margin=0.0) == (4, 4, 1, None)


def test_the_last_rung_may_equal_the_highest_floor():
    assert ladder_of([3.0, 4.0, 5.0], 4.0, 4.0) == (3, 4, 2, None)


def test_the_platform_shifts_every_depth():
    """Travels of 2, 3, 4 below a platform 1.5 mm deep: 3.5, 4.5, 5.5 below the crest."""
    assert rungs_mm([2.0, 3.0, 4.0], 4.5, 5.0, 1.5, 1.0, 1.0) == [3.5, 4.5, 5.5]


def test_a_depth_at_the_crest_or_above_is_no_rung():
    """Travels 0.5 and 1 with the platform 1 mm above the crest end at -0.5 and 0: nothing to begin with."""
    assert ladder_of([0.5, 1.0, 2.5], 2.0, 2.4, platform=-1.0)[3] == NO_FIRST_RUNG
    assert ladder_of([0.5, 1.1, 2.1], 2.0, 1.1, platform=-1.0)[0] == pytest.approx(0.1)


@pytest.mark.parametrize("tenth", range(20, 90))
def test_a_rung_at_exactly_the_margin_counts_for_every_tenth(tenth):
    """rbh_min_mm - 1 is reached exactly, whatever the binary numbers say; 0.1 mm less bone, and it is not."""
    lowest = tenth / 10
    travel = reach([13.0], [13 - lowest + 1, 13 - lowest, 13 - lowest + 1.3]).travel_mm
    assert ladder_of(travel, lowest, lowest)[0] == pytest.approx(lowest - 1, abs=HAIR_MM)
    shorter = ladder_of(travel, lowest - 0.1, lowest - 0.1)[0]
    assert np.isnan(shorter) if lowest - 1.3 <= HAIR_MM else shorter == pytest.approx(lowest - 1.3, abs=HAIR_MM)


@pytest.mark.parametrize("step_tenths", range(1, 31))
def test_a_rung_exactly_one_step_on_is_in_reach(step_tenths):
    """In binary some 4.1 + step fall a hair short of the rung; a step 0.01 mm shorter truly misses it."""
    step, rung = step_tenths / 10, (41 + step_tenths) / 10
    assert ladder_of([4.1, rung], 5.1, rung, step=step) == (pytest.approx(4.1), rung, 2, None)
    assert ladder_of([4.1, rung], 5.1, rung, step=step - 0.01)[3] == NO_WAY_UP


@pytest.mark.parametrize("tenth", range(20, 90))
def test_a_first_rung_at_exactly_the_highest_floor_is_the_last_too(tenth):
    """Margin none, floor level, platform 0.7 mm deep: 0.7 + travel is the floor, no further rung."""
    travel, floor = tenth / 10, (tenth + 7) / 10
    assert ladder_of([travel, travel + 0.5], floor, floor, platform=0.7, margin=0.0)[2] == 1


def test_the_two_sweeps_above_meet_binary_noise():
    """Else they would prove nothing."""
    assert any(4.1 + step / 10 < (41 + step) / 10 for step in range(1, 31))
    assert any(tenth / 10 < (tenth + 7) / 10 - 0.7 for tenth in range(20, 90))


def test_the_plan_says_what_it_lacks():
    for travel, problem in (([], NO_DRILL), ([4.0, 5.0], NO_FIRST_RUNG), ([3.0, 4.0], NO_WAY_UP)):
        first, last, n_rungs, told = ladder_of(travel, 4.0, 5.0)
        assert np.isnan([first, last]).all()
        assert (n_rungs, told) == (0, problem)


def test_sites_do_not_hear_each_other():
    """Four sites at once as each alone: sound, no first rung, no way up, one rung."""
    travel = np.array([3.0, 4.0, 5.0])
    lowest, highest = np.array([4.0, 2.0, 4.0, 6.0]), np.array([4.5, 4.5, 5.5, 5.0])
    together = plan_ladders(travel, lowest, highest, np.zeros(4), 1.0, 1.0)
    alone = [ladder_of(travel, low, high) for low, high in zip(lowest, highest, strict=True)]
    assert together.first_mm == pytest.approx([row[0] for row in alone], nan_ok=True)
    assert together.last_mm == pytest.approx([row[1] for row in alone], nan_ok=True)
    assert together.n_rungs.tolist() == [row[2] for row in alone] == [3, 0, 0, 1]
    assert together.problem.tolist() == [row[3] for row in alone]


# ── whatever the tray ─────────────────────────────────────────────────────────────────────────────

# A tray of 1 mm steps or of none in particular, and some odd lengths; most such trays have a way up.
travels = st.builds(
    lambda begins, odd: np.array([*(begins + np.arange(14) if begins else []), *odd]),
    st.one_of(st.none(), tenths(1, 9)),
    st.lists(tenths(0, 140), min_size=1, max_size=25),
)
floors = st.tuples(tenths(30, 90), tenths(0, 40)).map(lambda floor: (floor[0], round(sum(floor), 1)))


@given(travels, floors, tenths(-20, 20), tenths(0, 20), tenths(5, 30))
def test_rungs_rise_by_a_step_at_most_from_short_of_the_floor_to_past_it(travel, floor, platform, margin, step):
    lowest, highest = floor
    rungs = np.array(rungs_mm(travel, lowest, highest, platform, margin, step))
    assume(rungs.size)
    assert rungs[0] <= lowest - margin + HAIR_MM
    assert rungs[0] > 0
    assert (np.diff(rungs) > 0).all()
    assert (np.diff(rungs) <= step + HAIR_MM).all()
    assert rungs[-1] >= highest - HAIR_MM
    assert (rungs[:-1] < highest - HAIR_MM).all()
    for rung in rungs:
        assert np.abs(travel + platform - rung).min() <= HAIR_MM
    assert ladder_of(travel, lowest, highest, platform, margin, step)[:3] == (rungs[0], rungs[-1], rungs.size)


@given(travels, floors, tenths(0, 20), tenths(5, 30), tenths(0, 140))
def test_one_more_way_to_set_a_drill_neither_lowers_the_first_rung_nor_lengthens_the_climb(
    travel, floor, margin, step, more
):
    """Each rung is the deepest in reach: one more depth can only put rungs deeper, never into a dead end."""
    first, _, n_rungs, problem = ladder_of(travel, *floor, margin=margin, step=step)
    assume(problem is None)
    first_now, _, n_rungs_now, problem_now = ladder_of([*travel, more], *floor, margin=margin, step=step)
    assert problem_now is None
    assert first_now >= first - HAIR_MM
    assert n_rungs_now <= n_rungs


# ── what drills each rung ─────────────────────────────────────────────────────────────────────────


def guided_passes(drills, lowest, highest, guide_offset=10.5, mucosa=3.0, gauges=None):
    passes, problem = climb(drills, gauges or reach([]), lowest, highest, 0.0, 1.0, 1.0, guide_offset, mucosa)
    assert problem is None
    return passes


def test_the_shortest_drill_that_reaches_a_rung_drills_it():
    """7 less 4, 3, 2, 1 and the bare 7 mm; 8 mm only the longer one reaches."""
    lengths, stops = [10, 7], [*STOPS, None]
    passes, _ = climb(reach(lengths, STOPS), reach([]), 4.0, 8.0, 0.0, 1.0, 1.0)
    assert in_words(passes, lengths, stops) == [
        (3, 7, 4),
        (4, 7, 3),
        (5, 7, 2),
        (6, 7, 1),
        (7, 7, None),
        (8, 10, 2),
    ]


def test_a_shorter_drill_opens_the_hole_where_the_own_one_would_start_unguided():
    """Common practice, no source. Shanks of 8 mm; only the 10 mm drill has a stop for 3 mm (depth-marked).

    It would meet bone with 8 - 10 = -2 mm in the guide. The 7 mm drill, held by 1 mm, first goes to 2.5 mm,
    the deepest that it reaches short of 3; the 10 mm drill is then held by 8 + 2.5 - 10 = 0.5 mm.
    """
    drills = reach([7, 10], depth_stops=[(2.5, 7), (3, 10), (4, 10)], shank_mm=8.0)
    first, own, last = guided_passes(drills, 4.0, 4.0)
    assert (first.opens, first.depth_mm, first.engagement_mm, first.rung) == (True, 2.5, 1, 1)
    assert (own.opens, own.depth_mm, own.engagement_mm, own.rung) == (False, 3, 0.5, 1)
    assert (last.opens, last.depth_mm, last.engagement_mm, last.rung) == (False, 4, 1, 2)


def test_a_drill_whose_shank_just_meets_the_guide_is_opened_for():
    """Shanks of 10: the 10 mm drill is in by 10 - 10 = 0, unguided; the 7 mm drill, in by 3, opens."""
    drills = reach([7, 10], depth_stops=[(2, 7), (3, 10), (4, 10)], shank_mm=10.0)
    passes = guided_passes(drills, 4.0, 4.0, guide_offset=20.0)
    assert [(step.depth_mm, step.opens, step.engagement_mm) for step in passes] == [
        (2, True, 3),
        (3, False, 2),
        (4, False, 3),
    ]


def test_two_openers_one_after_the_other():
    """Shanks of 6.5: the 6 mm drill (0.5 in) opens to 2 for the 8 mm one (0.5 in), that to 4 for the 10."""
    drills = reach([6, 8, 10], depth_stops=[(2, 6), (4, 8), (4.5, 10), (5.5, 10)], shank_mm=6.5)
    passes = guided_passes(drills, 5.5, 5.5)
    assert [(step.depth_mm, step.opens) for step in passes] == [
        (2, True),
        (4, True),
        (4.5, False),
        (5.5, False),
    ]
    assert [step.engagement_mm for step in passes] == [0.5, 0.5, 0.5, 1.0]


def test_where_no_shorter_drill_is_held_the_rung_shows_that_it_starts_unguided():
    drills = reach([10], depth_stops=[(3, 10), (4, 10)], shank_mm=8.0)
    first, second = guided_passes(drills, 4.0, 4.0)
    assert (first.opens, first.engagement_mm) == (False, -2)
    assert (second.opens, second.engagement_mm) == (False, 1)


def test_no_drill_is_held_in_a_guide_that_the_mucosa_overgrows():
    """Offset 3 under 3.5 mm of mucosa: every drill starts unguided by 0.5 mm; nothing can open for it."""
    drills = reach([5, 7], STOPS, shank_mm=20.0)
    passes = guided_passes(drills, 4.0, 4.0, guide_offset=3.0, mucosa=3.5)
    assert [(step.opens, step.engagement_mm) for step in passes] == [(False, -0.5), (False, -0.5)]


def test_freehand_nothing_opens_for_another():
    passes, _ = climb(reach([7, 10], STOPS), reach([]), 4.0, 8.0, 0.0, 1.0, 1.0)
    assert not any(step.opens for step in passes)
    assert np.isnan([step.engagement_mm for step in passes]).all()


def test_the_thinner_of_two_drills_of_one_length_goes_first():
    drills = settings(
        np.array([7.0, 7.0]), np.array([3.2, 2.0]), np.full(2, UNKNOWN), np.array([4.0]), np.array([UNKNOWN])
    )
    passes, _ = climb(drills, reach([]), 4.0, 3.0, 0.0, 1.0, 1.0)
    assert [step.instrument for step in passes] == [1]


tray_lengths = st.lists(st.sampled_from([6, 7, 8.5, 10, 11.2, 13]), min_size=1, max_size=4, unique=True)
depth_stops_on = st.lists(st.tuples(tenths(5, 60), st.sampled_from([6, 7, 8.5, 10, 11.2, 13])), max_size=5)


@given(tray_lengths, depth_stops_on, tenths(40, 120), floors, st.sampled_from([UNKNOWN, 2.0, 3.5]), st.data())
def test_every_planned_pass_is_possible_and_the_rungs_are_those_of_the_ladder(
    lengths, depth_stops, shank, floor, mucosa, data
):
    lowest, highest = floor
    step_mm = data.draw(st.sampled_from([1.0, 2.0]))
    platform = data.draw(st.sampled_from([0.0, 0.5, -1.0]))
    drills = reach(lengths, [1, 2, 3, 4, 5, 6], depth_stops, shank)
    passes, problem = climb(drills, drills, lowest, highest, platform, 1.0, step_mm, 9.0, mucosa)
    rungs = rungs_mm(drills.travel_mm, lowest, highest, platform, 1.0, step_mm)
    assert (problem is None) == bool(rungs)
    stop_lengths = [1, 2, 3, 4, 5, 6, *(marked_on - marking for marking, marked_on in depth_stops)]
    marked_on = [UNKNOWN] * 6 + [marked_on for _, marked_on in depth_stops]
    drilled, deepest = [], 0.0
    for step in passes:
        length = lengths[step.instrument]
        takes_off = 0 if step.stop < 0 else stop_lengths[step.stop]
        assert step.depth_mm == pytest.approx(length - takes_off + platform, abs=HAIR_MM)
        if step.stop >= 6:
            assert marked_on[step.stop] == length
        if step.gauge:
            assert step.depth_mm == pytest.approx(deepest, abs=HAIR_MM)
            continue
        held = shank + deepest - length - platform
        held = held if np.isnan(mucosa) else min(held, 9.0 - mucosa)
        assert step.engagement_mm == pytest.approx(held, abs=HAIR_MM)
        assert step.depth_mm > deepest + HAIR_MM
        assert step.depth_mm <= rungs[step.rung - 1] + HAIR_MM
        if step.opens:
            assert held > 0
            own = next(later for later in passes if later.rung == step.rung and not (later.opens or later.gauge))
            assert length < lengths[own.instrument]
        else:
            drilled.append(step.depth_mm)
            shorter = [
                other
                for other, travel in zip(drills.length_mm, drills.travel_mm, strict=True)
                if abs(travel + platform - step.depth_mm) <= HAIR_MM and other < length
            ]
            assert not shorter
        deepest = step.depth_mm
    assert drilled == pytest.approx(rungs, abs=HAIR_MM)

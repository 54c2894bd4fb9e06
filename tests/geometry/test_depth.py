"""Drill depths and guide engagement, pass by pass."""

import numpy as np
import pytest

from liftseries.geometry.depth import (
    deepest_before_mm,
    drill_depth_mm,
    engagement_mm,
    stop_length_mm,
)

LENGTH_MARKED = np.nan  # such a stop is marked for no length


# ── common practice, no source ────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("length_mm", "stop_mm", "reached_mm"),
    [(7, 3, 4), (10, 3, 7), (10, 7, 3)],
    ids=["7 mm drill, stop of 3", "10 mm drill or gauge, stop of 3", "10 mm gauge, stop of 7"],
)
def test_a_length_marked_stop_takes_its_number_off(length_mm, stop_mm, reached_mm):
    """Common practice, no source: the number on the stop is not the depth."""
    assert drill_depth_mm(length_mm, stop_length_mm(stop_mm, LENGTH_MARKED), 0.0) == reached_mm


def test_a_depth_marked_stop_leaves_its_number_on_the_length_it_is_marked_for():
    """Common practice, no source: a depth mark of 2 means 2 mm."""
    on_7 = stop_length_mm([2], [7])
    assert drill_depth_mm([7], on_7, [0.0]).tolist() == [2]
    assert drill_depth_mm([10], on_7, [0.0]).tolist() == [5]  # on a longer drill it is 3 mm wrong


@pytest.mark.parametrize("soft_tissue_mm", [3.0, 3.5])
def test_the_short_drill_is_guided_when_its_tip_meets_bone_and_the_long_one_is_not(soft_tissue_mm):
    """Common practice, no source: 10.5 mm of guide offset over mucosa leaves a guide hole of 7 to 7.5 mm."""
    guide_hole_mm = 10.5 - soft_tissue_mm
    assert 7 <= guide_hole_mm <= 7.5
    shank_mm = 7.5
    short, long = engagement_mm(shank_mm, 0.0, np.array([7.0, 10.0]), 0.0, 10.5, soft_tissue_mm)
    assert short == 0.5
    assert long == -2.5


def test_a_shank_that_just_reaches_the_guide_does_not_steer_yet():
    """Shank 7.0 mm on a 7 mm drill: tip meets bone as shank meets guide; engagement 0 is unguided."""
    assert engagement_mm(7.0, 0.0, 7.0, 0.0, 10.5, 3.0) == 0


# ── by hand ───────────────────────────────────────────────────────────────────────────────────────


def test_the_platform_moves_guided_depths():
    """13 mm below a platform 1.5 mm deep, less 9: 5.5 mm below the crest; above the crest it takes away."""
    assert drill_depth_mm([13, 13], [9, 9], [1.5, -1.5]).tolist() == [5.5, 2.5]


def test_a_depth_marked_stop_of_the_whole_length_takes_nothing_off():
    assert stop_length_mm([7.0, 0.0], [7.0, 7.0]).tolist() == [0, 7]


def test_what_is_unknown_stays_unknown():
    assert np.isnan(drill_depth_mm([np.nan, 7, 7], [3, np.nan, 3], [0, 0, np.nan])).all()
    assert np.isnan(engagement_mm(np.nan, 0, 7, 0, 10, 3))


def test_a_guided_stop_may_be_longer_than_its_drill():
    """A length counts from the platform: 2 mm below the crest, a 6.5 mm drill with a 7 mm stop ends 1.5 mm deep."""
    assert drill_depth_mm([6.5, 6.5], [7.0, 8.5], [2.0, 2.0]).tolist() == [1.5, 0]


def test_deepest_before_counts_drills_of_the_own_log_only():
    """Three logs: one of four passes with a gauge third, one of one, one that begins above the crest."""
    depth = np.array([3.0, 5, 9, 4, 8, -1, 2])
    is_drill = np.array([True, True, False, True, True, True, True])
    before = deepest_before_mm(depth, is_drill, starts=np.array([0, 4, 5]))
    assert before.tolist() == [0, 3, 5, 5, 0, 0, 0]


def test_deepest_before_of_no_log():
    assert deepest_before_mm(np.empty(0), np.empty(0, bool), np.empty(0, np.intp)).size == 0


@pytest.mark.parametrize(
    ("shank", "before", "length", "platform", "offset", "mucosa", "held"),
    [
        (8, 0, 7, 0, 10.5, 3, 1),
        (8, 0, 7, 0.5, 10.5, 3, 0.5),  # a deep platform: the tip comes sooner to bone
        (8, 0, 7, -0.5, 10.5, 3, 1.5),
        (8, 4, 10, 0, 10.5, 3, 2),  # the hole that is there lets the shank in
        (20, 0, 7, 0, 10.5, 3, 7.5),  # no more than the guide hole is long
        (20, 0, 7, 0, 3, 3.5, -0.5),  # mucosa up to above the guide: nothing to be held by
        (20, 0, 7, 0, 10.5, np.nan, 13),  # unknown mucosa: the shank alone
    ],
)
def test_engagement_by_hand(shank, before, length, platform, offset, mucosa, held):
    assert engagement_mm(shank, before, length, platform, offset, mucosa) == pytest.approx(held, abs=1e-12)

"""Restricted cubic splines: straight outside, smooth inside, and knots that are worth the name."""

import numpy as np
import pytest

from liftseries.estimators.spline import knots_of, restricted_cubic_spline

KNOTS = np.array([3.1, 5.0, 7.2])


def curve(x):
    return restricted_cubic_spline(np.asarray(x, float), KNOTS) @ [0.7, -2.0]


def test_straight_beyond_the_outer_knots():
    for outside in (np.array([0.0, 1.0, 2.0, 3.0]), np.array([7.5, 8.5, 9.5, 10.5])):
        assert np.diff(curve(outside), n=2) == pytest.approx(0, abs=1e-10)


def test_value_slope_and_bend_are_continuous_at_every_knot():
    """Differences from the left and from the right agree to the order of the step; only the third derivative jumps."""
    h = 1e-3
    for knot in KNOTS:
        left, right = curve(knot - h * np.arange(4)), curve(knot + h * np.arange(4))
        assert (left[0] - left[1]) / h == pytest.approx((right[1] - right[0]) / h, abs=5e-3)
        bend = [(side[0] - 2 * side[1] + side[2]) / h**2 for side in (left, right)]
        assert bend[0] == pytest.approx(bend[1], abs=1e-2)


def test_cubic_between_knots():
    inside = curve(np.linspace(3.2, 4.9, 9))
    assert np.diff(inside, n=4) == pytest.approx(0, abs=1e-9)
    assert np.abs(np.diff(inside, n=3)).min() > 1e-4


def test_the_unit_cancels_out():
    """Millimetres or centimetres: the bending column has the unit of the measure, so a curve is the same curve."""
    mm = restricted_cubic_spline(np.linspace(2, 9, 20), KNOTS)
    cm = restricted_cubic_spline(np.linspace(2, 9, 20) / 10, KNOTS / 10)
    np.testing.assert_allclose(mm, 10 * cm, rtol=1e-9, atol=1e-12)


def test_heights_that_differ_by_rounding_are_one_knot():
    """(3.1 + 4.1) / 2 is not 3.6 to the last bit; two knots there would divide by next to nothing."""
    assert (3.1 + 4.1) / 2 != 3.6
    heaped = np.r_[np.full(60, 3.6), np.full(60, (3.1 + 4.1) / 2), np.linspace(2, 3.5, 80)]
    assert len(knots_of(heaped)) == 2
    assert len(knots_of(np.full(30, 5.0))) == 1
    assert knots_of(np.arange(101.0)) == pytest.approx([10, 50, 90])

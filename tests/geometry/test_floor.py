"""Floor, slope and lift against closed forms and against integration."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from liftseries.geometry.floor import dome_ml, floor_slope_deg, gain_mm, protrusion_mm, rbh_mid_mm


def test_middle_protrusion_and_gain_by_hand():
    """4 to 6 mm: middle 5. Platform 1 mm deep, implant 9 mm: lift 10 - 5 = 5; 9.5 mm of bone: 4.5 gained."""
    assert rbh_mid_mm([4.0], [6.0]).tolist() == [5]
    assert protrusion_mm([1.0, -1.0], [9.0, 9.0], [5.0, 5.0]).tolist() == [5, 3]
    assert gain_mm([9.5, 4.0, np.nan], [5.0, 5.0, 5.0]) == pytest.approx([4.5, -1, np.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("rise_over_run", "degrees"), [(0.0, 0), (1 / math.sqrt(3), 30), (1.0, 45), (math.sqrt(3), 60)]
)
def test_slope_of_handbook_angles(rise_over_run, degrees):
    """The table of tangents: tan 30° = 1/√3, tan 45° = 1, tan 60° = √3."""
    lowest, diameter = 3.0, 4.1
    slope = floor_slope_deg(lowest, lowest + rise_over_run * diameter, diameter)
    assert slope == pytest.approx(degrees, abs=1e-12)


def test_dome_of_a_3_mm_lift():
    """h = 3, a = 5: 3π (75 + 9) / 6 = 42π mm³."""
    assert dome_ml(3.0, 5.0) == pytest.approx(42 * math.pi / 1000, rel=1e-14)


@pytest.mark.parametrize("radius_mm", [0.5, 3.0, 5.0, 7.5])
def test_dome_as_high_as_its_base_radius_is_half_a_sphere(radius_mm):
    """Handbook identity: h = a gives 2/3 π r³."""
    assert dome_ml(radius_mm, radius_mm) == pytest.approx(2 / 3 * math.pi * radius_mm**3 / 1000, rel=1e-14)


@pytest.mark.parametrize(("height_mm", "base_mm"), [(0.1, 5.0), (1.0, 5.0), (4.0, 5.0), (5.0, 5.0), (8.0, 3.0)])
def test_dome_is_the_integral_of_its_slices(height_mm, base_mm):
    """Slices of the sphere through base circle and top, R = (a² + h²) / 2h: π (R² - z²) from R - h to R."""
    radius = (base_mm**2 + height_mm**2) / (2 * height_mm)
    volume_mm3, error = quad(lambda z: math.pi * (radius**2 - z**2), radius - height_mm, radius)
    assert error < 1e-6 * volume_mm3
    assert dome_ml(height_mm, base_mm) * 1000 == pytest.approx(volume_mm3, rel=1e-9)


def test_an_implant_below_the_floor_lifts_nothing():
    assert dome_ml([-2.0, 0.0], 5.0).tolist() == [0, 0]

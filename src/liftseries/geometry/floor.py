"""The sinus floor over the implant's footprint, and the lift that the planned implant asks for."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from liftseries.geometry.depth import Array


def rbh_mid_mm(rbh_min_mm: ArrayLike, rbh_max_mm: ArrayLike) -> Array:
    """Residual bone height halfway between lowest and highest, mm. Shapes (n_sites,)."""
    return (np.asarray(rbh_min_mm, float) + rbh_max_mm) / 2


def floor_slope_deg(rbh_min_mm: ArrayLike, rbh_max_mm: ArrayLike, implant_diameter_mm: ArrayLike) -> Array:
    """Slope of the sinus floor across the implant's footprint, degrees. Shapes (n_sites,), mm."""
    rise = np.asarray(rbh_max_mm, float) - rbh_min_mm
    return np.degrees(np.arctan(rise / implant_diameter_mm))


def protrusion_mm(platform_depth_mm: ArrayLike, implant_length_mm: ArrayLike, rbh_mid_mm: ArrayLike) -> Array:
    """How far the planned implant stands above the middle of the floor, mm; the planned lift. Shapes (n_sites,)."""
    return np.asarray(platform_depth_mm, float) + implant_length_mm - rbh_mid_mm


def dome_ml(protrusion_mm: ArrayLike, lift_base_radius_mm: float) -> Array:
    """Volume of the lifted space, taken as a spherical cap.

    Parameters
    ----------
    protrusion_mm : shape (n_sites,), mm
        Height of the cap; 0 where negative.
    lift_base_radius_mm : mm
        Radius of its base.

    Returns
    -------
    shape (n_sites,), ml

    Source: volume of a spherical cap, π h (3 a² + h²) / 6; the contract, "Floor and lift".
    """
    height = np.maximum(np.asarray(protrusion_mm, float), 0)
    return np.pi * height * (3 * lift_base_radius_mm**2 + height**2) / 6 / 1000


def gain_mm(bone_height_mm: ArrayLike, rbh_mid_mm: ArrayLike) -> Array:
    """Bone height gained over the middle residual height, mm. Shapes (n,)."""
    return np.asarray(bone_height_mm, float) - rbh_mid_mm

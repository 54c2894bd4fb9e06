"""The numbers that depths are judged by. Standard library only: the workflow reads their names at every start."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    """The numbers that depths are judged by; the plan's keys of the same names."""

    first_depth_margin_mm: Mapping[str, float]  # by approach
    step_mm: float
    depth_tolerance_mm: float
    speed_limit_rpm: float
    lift_base_radius_mm: float

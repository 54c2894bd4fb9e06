"""For each rule of an oddity a planted case with the keys that it tells, and its innocent neighbour. All made up."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from even_series import Change, N, both, cell, column, without


class Planted(NamedTuple):
    """A change that is odd by the rule, the keys told, and a change next to it by which the rule tells of nothing."""

    odd: Change
    keys: set[str]
    even: Change


HEIGHT = {"rbh_min_mm": 4.03, "rbh_max_mm": 4.53}


def beside(tooth: int, lowest: float) -> Change:
    """s01 belongs to the patient of s00, at the tooth given; its heights from the lowest on."""
    heights = {"rbh_min_mm": lowest, "rbh_max_mm": lowest + 0.5}
    return both(
        cell("sites", "s01", "patient_id", "p00"),
        cell("sites", "s01", "tooth", tooth),
        *(cell("sites", "s00", name, value) for name, value in HEIGHT.items()),
        *(cell("sites", "s01", name, value) for name, value in heights.items()),
    )


def staged(*sites: str, torque: float | None) -> Change:
    return both(
        *(cell("sites", site, "placement", "staged") for site in sites),
        *(cell("sites", site, "torque_ncm", torque) for site in sites),
    )


def copied(n: int) -> Change:
    """s03 has the first n measured numbers of s05."""
    names = ["rbh_min_mm", "rbh_max_mm", "ridge_width_mm", "membrane_mm", "torque_ncm", "bone_height_post_mm"][:n]

    def change(tables):
        sites = tables["sites"].copy()
        rows = [sites.index[sites["site_id"].eq(site)][0] for site in ("s03", "s05")]
        sites.loc[rows[0], names] = sites.loc[rows[1], names].to_numpy()
        return {**tables, "sites": sites}

    return change


def copied_visits(n: int) -> Change:
    names = ["months", "bone_height_mm", "marginal_bone_mm"]

    def change(tables):
        visits = tables["visits"].copy()
        to, source = (visits.index[visits["site_id"].eq(site)][:n] for site in ("s03", "s05"))
        visits.loc[to, names] = visits.loc[source, names].to_numpy()
        return {**tables, "visits": visits}

    return change


def months_of_south(*months: float) -> Change:
    """The visits of South, whose surgeries lie two years back and more."""

    def values(visits):
        south = visits["site_id"].str[1:].astype(int) % 2 == 1
        return np.where(south, np.resize(months, len(visits)), visits["months"])

    return column("visits", "months", values)


def heights(fraction: float, step: float) -> Change:
    """Lowest heights of North in whole steps, at a share of its sites; the highest 0.5 above."""

    def lowest(sites):
        chosen = (np.arange(N) % 2 == 0) & (np.arange(N) < fraction * N)
        return np.where(chosen, np.round(sites["rbh_min_mm"] / step) * step, sites["rbh_min_mm"])

    def highest(sites):
        return np.where(np.arange(N) % 2 == 0, sites["rbh_min_mm"] + 0.5, sites["rbh_max_mm"])

    return both(column("sites", "rbh_min_mm", lowest), column("sites", "rbh_max_mm", highest))


def level_heights(fraction: float) -> Change:
    def highest(sites):
        chosen = (np.arange(N) % 2 == 0) & (np.arange(N) < fraction * N)
        return np.where(chosen, sites["rbh_min_mm"], sites["rbh_max_mm"])

    return column("sites", "rbh_max_mm", highest)


def all_of_north(torn: bool) -> Change:
    """Every site of one centre, and no tear but perhaps one."""
    tears = np.where(np.arange(N) == 0, "yes" if torn else "no", "no")
    return both(column("patients", "centre", "North"), column("sites", "perforation", tears))


def case_numbers(*of_south: int) -> Change:
    """Of the sites s01, s03 …: from 2019 on, seven or eight a year."""

    def values(sites):
        numbers = sites["operator_case_no"].to_numpy(int).copy()
        numbers[1 : 2 * len(of_south) : 2] = of_south
        return numbers

    return column("sites", "operator_case_no", values)


PLANTED: dict[str, Planted] = {
    "tear_without_perforation": Planted(
        cell("sites", "s01", "perforation_mm", 3), {"s01"}, cell("sites", "s00", "perforation_mm", 3)
    ),
    "tear_stage_without_perforation": Planted(
        cell("sites", "s01", "perforation_stage", "lifting"), {"s01"},
        cell("sites", "s00", "perforation_stage", "lifting")
    ),
    "tear_managed_without_perforation": Planted(
        cell("sites", "s01", "perforation_management", "suture"), {"s01"},
        cell("sites", "s01", "perforation_management", "none"),
    ),
    "tear_while_drilling_never_open": Planted(
        both(cell("sites", "s00", "perforation_stage", "drilling"), cell("steps", "s00", "finding", "closed")), {"s00"},
        both(cell("sites", "s00", "perforation_stage", "drilling"), cell("steps", "s00", "finding", "not_tested")),
    ),
    "centre_without_a_tear": Planted(all_of_north(torn=False), {"North"}, all_of_north(torn=True)),
    "tooth_twice_in_a_patient": Planted(beside(16, 4.03), {"s00", "s01"}, beside(26, 4.03)),
    "neighbouring_molars_differ": Planted(beside(17, 10.1), {"s00", "s01"}, beside(17, 10.03)),
    "diameter_at_least_length": Planted(
        cell("sites", "s01", "implant_length_mm", 4.1), {"s01"}, cell("sites", "s01", "implant_length_mm", 4.2)
    ),
    "more_than_one_implant": Planted(
        both(cell("visits", "s01", "status", "failed", 1), cell("visits", "s01", "status", "failed", 2)), {"s01"},
        cell("visits", "s01", "status", "failed", 2),
    ),
    "torque_high": Planted(
        cell("sites", "s01", "torque_ncm", 350), {"s01"}, cell("sites", "s01", "torque_ncm", 80)
    ),
    "staged_with_torque": Planted(staged("s01", torque=30), {"s01"}, staged("s01", torque=None)),
    "centre_gives_torque_of_staged": Planted(
        staged("s01", "s03", "s05", "s07", "s09", torque=30), {"South"},
        staged("s01", "s03", "s05", "s07", "s08", torque=30),
    ),
    "fluid_above_the_cap": Planted(
        cell("sites", "s01", "fluid_ml", 9), {"s01"}, cell("sites", "s01", "fluid_ml", 0.4)
    ),
    "graft_above_the_cap": Planted(
        cell("sites", "s01", "graft_ml", 9), {"s01"}, cell("sites", "s01", "graft_ml", 0.4)
    ),
    "visits_without_an_implant": Planted(
        cell("sites", "s01", "placement", "none"), {"s01 "},
        both(cell("sites", "s01", "placement", "none"), without("visits", "s01")),
    ),
    "placed_and_never_seen": Planted(
        without("visits", "s01"), {"s01"},
        both(without("visits", "s01"), cell("sites", "s01", "surgery_year", 2024)),
    ),
    "months_typed_in_years": Planted(months_of_south(1, 2, 5), {"South"}, months_of_south(1, 2, 12)),
    "marginal_bone_far": Planted(
        cell("visits", "s01", "marginal_bone_mm", 35, 0), {"s01 "}, cell("visits", "s01", "marginal_bone_mm", 5, 2)
    ),
    "marginal_bone_better": Planted(
        both(cell("visits", "s01", "marginal_bone_mm", 3.1, 0), cell("visits", "s01", "marginal_bone_mm", 1.1, 1)),
        {"s01 "},
        both(cell("visits", "s01", "marginal_bone_mm", 2.9, 0), cell("visits", "s01", "marginal_bone_mm", 1, 1)),
    ),
    "bone_above_the_lift": Planted(
        both(cell("sites", "s01", "bone_height_post_mm", 7.1), cell("visits", "s01", "bone_height_mm", 9.1, 1)),
        {"s01 "},
        both(cell("sites", "s01", "bone_height_post_mm", 7.1), cell("visits", "s01", "bone_height_mm", 9, 1)),
    ),
    "bone_below_the_residual": Planted(
        both(cell("sites", "s01", "rbh_min_mm", 4), cell("sites", "s01", "rbh_max_mm", 5),
             cell("visits", "s01", "bone_height_mm", 3.5, 1)), {"s01 "},
        both(cell("sites", "s01", "rbh_min_mm", 4), cell("sites", "s01", "rbh_max_mm", 5),
             cell("visits", "s01", "bone_height_mm", 3.6, 1)),
    ),
    "surgery_beyond_closing": Planted(
        cell("sites", "s59", "surgery_year", 2090), {"s59"}, cell("sites", "s59", "surgery_year", 2025)
    ),
    "visit_beyond_closing": Planted(
        # Surgery in 2022: its January and 48 months are January 2026.
        cell("visits", "s59", "months", 48, 2), {"s59 48"}, cell("visits", "s59", "months", 47.9, 2)
    ),
    "centres_alike": Planted(
        both(cell("patients", "p01", "centre", "south"), cell("patients", "p03", "centre", "Suoth")),
        {"south", "Suoth"},
        both(cell("patients", "p01", "centre", "Mouth"), cell("patients", "p03", "centre", "South II")),
    ),
    "operators_alike": Planted(
        cell("sites", "s01", "operator", "O-S"), {"O-S"}, cell("sites", "s01", "operator", "os1")
    ),
    "patient_in_two_centres": Planted(
        cell("patients", "p03", "patient_id", "P 2"), {"P 2", "p02"}, cell("patients", "p05", "patient_id", "P 3")
    ),
    "case_number_twice": Planted(case_numbers(1, 2, 2), {"s03", "s05"}, case_numbers(1, 2, 3)),
    "case_numbers_out_of_order": Planted(
        cell("sites", "s01", "operator_case_no", 29), {"s01"}, cell("sites", "s59", "operator_case_no", 99)
    ),
    "sites_equal": Planted(copied(5), {"s03", "s05"}, copied(4)),
    "visits_equal": Planted(copied_visits(3), {"s03 ", "s05 "}, copied_visits(2)),
    "column_of_one_value": Planted(
        column("sites", "isq", 70), {"isq"}, column("sites", "isq", [70.0] * 9 + [np.nan] * (N - 9))
    ),
    "heights_end_in_0_or_5": Planted(heights(1, 0.5), {"North"}, heights(0.75, 0.5)),
    "lowest_is_highest": Planted(level_heights(0.5), {"North"}, level_heights(0.45)),
}  # fmt: skip

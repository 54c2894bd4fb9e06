"""What was planned and found at made-up sites, column by column.

The order and what each column goes with are those of the treatment: the bone, the plan for it, the surgery, what it
left behind. A tear is drawn from a logistic model. What is empty together stays empty together: a whole row's gaps
come from one real site.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from liftseries.geometry.floor import floor_slope_deg, protrusion_mm, rbh_mid_mm
from liftseries.study.schema import Column, Table
from liftseries.twin.donors import draw_column, draw_donors, event_chance
from liftseries.twin.people import OF_SITE, in_order_of_treatment

# column: those that a donor should be like in, those that it has to be equal in.
PLAN = {
    "protocol": (["protocol_before", "operator", "surgery_year"], ["centre"]),
    "approach": (["approach_before", "operator"], ["protocol", "centre"]),
    "rbh_min_mm": (["rbh_min_mm_before", "tooth", "approach", "protocol"], []),
    "rise_mm": (["rbh_min_mm", "rise_mm_before", "approach"], []),
    "septum": (["centre"], []),
    "implant_diameter_mm": (["tooth", "rbh_min_mm"], []),
    "platform_depth_mm": (["rbh_min_mm"], ["approach"]),
    "implant_length_mm": ({"rbh_mid_mm": 3.0, "platform_depth_mm": 1.0, "approach": 0.5}, []),
    "guide_offset_mm": (["rbh_min_mm", "centre"], ["approach"]),
    "lift_method": (["centre"], ["protocol", "approach"]),
    "graft": (["graft_before", "centre"], ["protocol", "lift_method"]),
}
PERFORATION = ["rbh_mid_mm", "floor_slope_deg", "protrusion_mm", "approach", "septum", "protocol", "perforation_before"]
SURGERY = {
    "perforation_test": (["centre", "protocol"], ["perforation"]),
    "placement": (["rbh_mid_mm"], ["perforation"]),
    "healing": (["centre", "rbh_mid_mm"], ["placement"]),
}
GAPS = (["protocol", "surgery_year", "approach"], ["placement", "perforation", "lift_method", "graft", "centre"])
REST = {
    "soft_tissue_mm": (["soft_tissue_mm_before", "tooth"], []),
    "ridge_width_mm": (["ridge_width_mm_before", "tooth", "implant_diameter_mm"], []),
    "sinus_width_mm": (["sinus_width_mm_before", "tooth"], []),
    "membrane_mm": (["membrane_mm_before"], ["perforation"]),
    "fluid_ml": (["protrusion_mm"], ["lift_method"]),
    "graft_ml": (["protrusion_mm"], ["graft", "protocol"]),
    "perforation_stage": (["protocol", "approach"], ["perforation"]),
    "perforation_mm": ([], ["perforation", "perforation_stage"]),
    "bone_quality": (["bone_quality_before", "tooth"], []),
    "torque_ncm": (["bone_quality", "rbh_mid_mm"], ["placement"]),
    "isq": (["torque_ncm", "bone_quality"], ["placement"]),
    "bone_height_post_mm": ({"rbh_mid_mm": 3.0, "protrusion_mm": 3.0, "graft": 1.0}, ["placement"]),
}
# Any other column, one of the study's own among them.
OF_OTHERS = (["rbh_mid_mm", "protrusion_mm", "approach", "protocol"], ["approach"])
RISE = Column("rise_mm", "number", "", "")
NAMED = {"site_id", "patient_id", "operator_case_no", "rbh_max_mm", "perforation", *OF_SITE, *PLAN, *SURGERY, *REST}


def draw_sites(
    tables: Mapping[str, pd.DataFrame],
    patients: pd.DataFrame,
    known: pd.DataFrame,
    table: Table,
    rng: np.random.Generator,
) -> tuple[pd.DataFrame, np.ndarray]:
    """The other columns of the sites.

    Parameters
    ----------
    tables
        The real patients and sites.
    patients, known
        The made-up patients, and what `people` drew of their sites.

    Returns
    -------
    sites : the columns of the schema, without site_id; patient_id counts the rows of `patients`
    gaps : shape (n_sites,), row in `tables["sites"]` whose empty cells each made-up site has
    """
    numbered = with_terms(tables["sites"].assign(row=np.arange(len(tables["sites"]))))
    real = in_order_of_treatment(numbered).merge(tables["patients"], on="patient_id", how="left")
    new = known.merge(patients.assign(patient_id=np.arange(len(patients))), on="patient_id", how="left")
    turn, gaps = new.groupby("patient_id").cumcount().to_numpy(), np.full(len(new), -1)
    before, drawn = real.iloc[:0], []
    lagged = [name for name in real if f"{name}_before" in real and name not in ("site_id", "operator_case_no", "row")]
    for number in range(turn.max(initial=-1) + 1):
        rows = np.flatnonzero(turn == number)
        now = new.iloc[rows]
        last = before[[*lagged, "patient_id"]].astype({"patient_id": now["patient_id"].dtype}).set_index("patient_id")
        last = last.reindex(now["patient_id"]).add_suffix("_before").reset_index(drop=True)
        now = pd.concat([now.reset_index(drop=True), last], axis=1).assign(turn=number)
        now, gaps[rows] = _draw_turn(real, now, table, rng)
        before = now
        drawn.append(now.set_index(rows))
    sites = pd.concat(drawn).sort_index() if drawn else real.iloc[:0]
    sites["operator_case_no"] = _case_numbers(real, sites, rng)
    return sites[[name for name in table.columns if name != "site_id"]], real["row"].to_numpy()[gaps]


def _draw_turn(
    real: pd.DataFrame, new: pd.DataFrame, table: Table, rng: np.random.Generator
) -> tuple[pd.DataFrame, np.ndarray]:
    """One site of each patient who has so many; also the real row that lends its gaps."""
    columns = {**table.columns, "rise_mm": RISE}

    def draw(name: str, near, within, hidden=None) -> None:
        new[name] = draw_column(real, new, columns[name], rng, near, within, hidden)

    for name, how in PLAN.items():
        draw(name, *how)
        if name == "rise_mm":
            new["rbh_max_mm"] = (new["rbh_min_mm"] + new["rise_mm"]).clip(upper=columns["rbh_max_mm"].at_most).round(6)
            new["rbh_mid_mm"] = rbh_mid_mm(new["rbh_min_mm"], new["rbh_max_mm"])
    new = with_terms(new)
    others = [name for name in table.columns if name not in NAMED]
    for name in others:
        if not table.columns[name].optional:
            draw(name, *OF_OTHERS)
    new["perforation"] = _perforation(real, new, rng)
    for name, how in SURGERY.items():
        draw(name, *how)
    gaps = draw_donors(real, new, rng, *GAPS)
    for name, how in (REST | {name: OF_OTHERS for name in others if table.columns[name].optional}).items():
        draw(name, *how, hidden=real[name].isna().to_numpy()[gaps])
    return new, gaps


def with_terms(sites: pd.DataFrame) -> pd.DataFrame:
    """Adds what the bone and the plan for it come to."""
    middle = rbh_mid_mm(sites["rbh_min_mm"], sites["rbh_max_mm"])
    lowest, highest, diameter = (sites[name].to_numpy() for name in ("rbh_min_mm", "rbh_max_mm", "implant_diameter_mm"))
    return sites.assign(
        rise_mm=(sites["rbh_max_mm"] - sites["rbh_min_mm"]).round(6),
        rbh_mid_mm=middle,
        floor_slope_deg=floor_slope_deg(lowest, highest, diameter),
        protrusion_mm=protrusion_mm(sites["platform_depth_mm"], sites["implant_length_mm"], middle),
    )


def _perforation(real: pd.DataFrame, new: pd.DataFrame, rng: np.random.Generator) -> pd.Series:
    """Yes or no by the model; unknown as often as where the centre and the protocol are the same."""
    answered = real["perforation"].isin(["no", "yes"]).to_numpy()
    told = real["perforation"].iloc[draw_donors(real, new, rng, [], ["centre", "protocol"])].reset_index(drop=True)
    if answered.any():
        seen = real[answered].reset_index(drop=True)
        chance = event_chance(seen, new, seen["perforation"].eq("yes").to_numpy(), PERFORATION)
        drawn = np.where(rng.random(len(new)) < chance, "yes", "no")
        told = told.astype(object).where(~told.isin(["no", "yes"]).to_numpy(), drawn)
    return told.astype(real["perforation"].dtype)


def _case_numbers(real: pd.DataFrame, sites: pd.DataFrame, rng: np.random.Generator) -> pd.Series:
    """Every operator's running count in order of the years, from a beginning that some operator of the study had."""
    begins = real.groupby("operator")["operator_case_no"].min().to_numpy(dtype=int)
    begin = {operator: rng.choice(begins) for operator in sorted(sites["operator"].unique())}
    order = np.lexsort((rng.random(len(sites)), sites["surgery_year"].to_numpy(dtype=int)))
    count = sites.iloc[order].groupby("operator").cumcount().sort_index()
    return (count + sites["operator"].map(begin)).astype("Int64")

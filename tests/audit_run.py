"""A made-up run for the files beside an audit: every table that they read, left where a run leaves it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from liftseries.base.outputs import write_csv, write_parquet
from liftseries.geometry.derived import derive
from liftseries.geometry.limits import Limits
from liftseries.models.audit.funnel import fit_audit_funnel
from liftseries.models.audit.indicators import fit_audit_indicators
from liftseries.models.audit.review import list_cases_to_review
from liftseries.models.shared.cases import cases
from liftseries.models.shared.follow_up import follow_up
from liftseries.report.kit.material import Material, read_material
from liftseries.study.plan import read_plan
from liftseries.study.schema import columns_by_name

LIMITS = Limits({"guided": 1.0, "freehand": 1.0}, 1.0, 0.05, 800.0, 5.0)
# A 10 mm drill with stops of 7, 6 and 5 mm ends 3, 4 and 5 mm deep; the floor lies at 4 to 4.8 mm.
INSTRUMENTS = pd.DataFrame(
    {
        "instrument_id": ["drill", "gauge"],
        "role": ["pilot", "gauge"],
        "approach": ["guided", "guided"],
        "diameter_mm": [2.0, 2.0],
        "length_mm": [10.0, 10.0],
        "guide_shank_mm": [8.0, np.nan],
    }
)
STOPS = pd.DataFrame(
    {
        "stop_id": ["seven", "six", "five"],
        "marking_mm": [7.0, 6.0, 5.0],
        "marking_means": ["length"] * 3,
        "marked_on_length_mm": [np.nan] * 3,
    }
)
PASSES = (("drill", "seven", "not_tested"), ("gauge", "seven", "closed"), ("drill", "six", "open"))
STUDY = """
tables: {patients: p.csv, sites: s.csv, steps: d.csv, visits: v.csv, instruments: i.csv, stops: k.csv}
study: {id: made_up, title: Made up, data_until: 2025-12}
plan: {audit: {by: operator, period: [2023, 2024]%s}}
"""


def made_run(
    folder: Path,
    operators: tuple[str, ...],
    torn: Callable[[int, int], bool],
    site: Callable[[int], str] = "S{:03d}".format,
    n_sites: int = 24,
    log: bool = True,
    visits: bool = True,
    audit: str = "",
) -> tuple[Material, Path]:
    """The material of a run and its output folder.

    Parameters
    ----------
    operators : each with `n_sites` sites, a patient each, half of them of 2023 and half of 2024
    torn : number of the operator and of its site -> whether the membrane tore
    site : number -> site_id
    log, visits : whether there are any
    audit : more keys of `plan.audit`
    """
    (folder / "study.yaml").write_text(STUDY % audit, encoding="utf-8")
    plan, output = read_plan(folder), folder / "output"
    sites, patients = made_sites(operators, torn, site, n_sites), made_patients(len(operators) * n_sites)
    steps = made_steps(sites["site_id"]) if log else None
    centre = pd.Series(["north"] * len(sites))
    derived_steps, derived = derive(sites, steps, INSTRUMENTS, STOPS, LIMITS, centre)
    table = cases(patients, sites, derived, [4.0, 6.0], [4.0])
    seen = made_visits(sites["site_id"] if visits else sites["site_id"].iloc[:0])
    for name, one in {"instruments": INSTRUMENTS, "stops": STOPS, "visits": seen, "steps": steps}.items():
        if one is not None:
            write_parquet(output / f"checked/{name}.parquet", one)
    if derived_steps is not None:
        write_csv(output / "derived/steps.csv", derived_steps)
    write_parquet(output / "work/cases.parquet", table)
    leave_estimates(output, table, seen, plan.audit)
    return read_material(output, plan.as_written), output


def leave_estimates(output: Path, table: pd.DataFrame, seen: pd.DataFrame, audit) -> None:
    """results.csv and what the questions leave in work/."""
    by, expected, period = audit["by"], audit["expected"], audit["period"]
    implants = follow_up(seen, table).implants
    standard = {"centre": audit["centre"], "standard": audit["standard"]}
    funnel = fit_audit_funnel(table, by, period, **standard, alert_sd=2, alarm_sd=3, case_mix=[], expected=expected)
    of_sites = {"unrecorded": "not_done", "data_until": "2025-12", "depth_tolerance_mm": 0.05, "step_mm": 1.0}
    found = fit_audit_indicators(
        table, implants, seen, by, period, audit["standard"], 2.0, expected, names=[], months=[12.0], **of_sites
    )
    review = list_cases_to_review(table, implants, seen, by, period, **of_sites)
    write_csv(output / "results.csv", pd.concat([funnel.rows, found.rows], ignore_index=True))
    write_csv(output / "work/audit_indicator_strips.csv", found.strips)
    write_csv(output / "work/audit_cases_to_review.csv", review.listed)
    write_csv(output / "work/audit_review_rule.csv", review.rule)


def made_sites(operators, torn, site, n_sites: int) -> pd.DataFrame:
    """Guided sites over a floor of 4 to 4.8 mm."""
    who = np.repeat(np.arange(len(operators)), n_sites)
    number = np.tile(np.arange(n_sites), len(operators))
    n = len(who)
    perforated = np.array([torn(int(k), int(i)) for k, i in zip(who, number, strict=True)])
    fixed = {
        "tooth": 16, "rbh_min_mm": 4.0, "rbh_max_mm": 4.8, "soft_tissue_mm": 2.0, "implant_diameter_mm": 4.0,
        "implant_length_mm": 8.0, "platform_depth_mm": 0.0, "guide_offset_mm": 9.0, "fluid_ml": 0.3, "graft_ml": 0.0,
    }  # fmt: skip
    levels = {"approach": "guided", "placement": "same_day", "lift_method": "fluid", "perforation_test": "valsalva"}
    return pd.DataFrame(
        {
            "site_id": [site(k) for k in range(n)],
            "patient_id": [f"P{k}" for k in range(n)],
            "operator": [operators[k] for k in who],
            "operator_case_no": pd.array(number + 1, dtype="Int64"),
            "surgery_year": pd.array(np.where(number < n_sites // 2, 2023, 2024), dtype="Int64"),
            "protocol": "A",
            **fixed,
            **{name: category(name, [level] * n) for name, level in levels.items()},
            "graft": category("graft", ["none"] * n),
            "perforation": category("perforation", np.where(perforated, "yes", "no")),
            "perforation_stage": category("perforation_stage", np.where(perforated, "drilling", None)),
            "perforation_mm": np.where(perforated, 2.0, np.nan),
            "perforation_management": category("perforation_management", np.where(perforated, "membrane", None)),
        }
    )


def category(name: str, values) -> pd.Categorical:
    """Of the levels that the schema gives the column."""
    return pd.Categorical(list(values), categories=list(columns_by_name()[name].levels))


def made_patients(n: int) -> pd.DataFrame:
    return pd.DataFrame({"patient_id": [f"P{k}" for k in range(n)], "centre": "north"})


def made_steps(site_ids) -> pd.DataFrame:
    """Three passes a site."""
    rows = [
        (site, number, *one, np.nan, np.nan, np.nan) for site in site_ids for number, one in enumerate(PASSES, start=1)
    ]
    columns = "site_id step_no instrument_id stop_id finding intended_depth_mm speed_rpm read_depth_mm"
    return pd.DataFrame(rows, columns=columns.split())


def made_visits(site_ids) -> pd.DataFrame:
    """Each site seen at a year; of every tenth the implant had been lost."""
    n = len(site_ids)
    status = np.where(np.arange(n) % 10 == 3, "failed", "functioning")
    return pd.DataFrame(
        {
            "site_id": pd.Series(list(site_ids), dtype=object),
            "months": np.full(n, 12.0),
            "status": category("status", status),
            "bone_height_mm": np.where(status == "failed", np.nan, 7.5),
            "marginal_bone_mm": np.nan,
            "complication": category("complication", ["none"] * n),
        }
    )

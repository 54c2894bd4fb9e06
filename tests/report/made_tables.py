"""The made-up tables of a series: cases, visits, passes of two cases, rows set aside."""

from __future__ import annotations

import numpy as np
import pandas as pd

from liftseries.geometry.deviations import DEVIATIONS
from liftseries.models.shared.cases import as_drilled

BANDS_MM = [4.0, 6.0]
LEVELS = {
    "smoking": ["never", "former", "current", "unknown"],
    "approach": ["guided", "freehand"],
    "graft": ["none", "autogenous", "xenograft"],
    "perforation": ["no", "yes", "unknown"],
    "ended": ["at_plan", "opened_before", "deeper", "short"],
    "perforation_test": ["none", "valsalva", "endoscopy"],
    "perforation_stage": ["drilling", "lifting", "grafting", "placing", "unknown"],
    "perforation_management": ["none", "membrane", "suture"],
    "lift_method": ["fluid", "osteotome", "balloon"],
    "placement": ["same_day", "staged", "none"],
    "healing": ["submerged", "transmucosal"],
    "status": ["functioning", "failed", "patient_died", "not_examined"],
    "complication": ["none", "infection", "sinusitis"],
}


def category(name: str, values) -> pd.Categorical:
    return pd.Categorical(list(values), categories=LEVELS[name])


def ladder_cases() -> pd.DataFrame:
    """Two cases: one up its rungs, one with a stop misread."""
    columns = "case site_label approach step_no role length_mm stop_length_mm depth_mm deepest_before_mm finding"
    rows = [
        (1, "as planned", "guided", 1, "pilot", 12.5, 9.5, 3.0, 0.0, "closed"),
        (1, "as planned", "guided", 2, "gauge", 12.5, 9.5, 3.0, 3.0, "closed"),
        (1, "as planned", "guided", 3, "pilot", 12.5, 8.5, 4.0, 3.0, "not_tested"),
        (1, "as planned", "guided", 4, "gauge", 12.5, 8.5, 4.0, 4.0, "open"),
        (1, "as planned", "guided", 5, "widening", 12.5, 8.5, 4.0, 4.0, "not_tested"),
        (2, "with deviations", "freehand", 1, "pilot", 13.0, 0.0, 13.0, 0.0, "open"),
    ]
    table = pd.DataFrame(rows, columns=columns.split())
    first = table["case"].eq(1)
    return table.assign(
        rbh_min_mm=np.where(first, 4.0, 3.8),
        rbh_max_mm=np.where(first, 4.0, 5.0),
        rungs_mm=np.where(first, "3 4", "2.8 3.8 4.8 5.8"),
        deviations=np.where(first, "", "first_too_deep stop_misread overdrilled"),
    )


def made_cases(n_patients: int, seed: int, approaches, log: bool, torn: bool = True) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(n_patients), rng.integers(1, 4, n_patients))
    n = len(patient)
    rbh = np.round(rng.uniform(2, 8, n), 1)
    lift = np.round(rng.uniform(1, 6, n), 1)
    risk = torn / (1 + np.exp(1.2 + 0.2 * (rbh - 5)))
    perforation = np.where(rng.random(n) < 0.04, "unknown", np.where(rng.random(n) < risk, "yes", "no"))
    planned = np.round(rbh) if log else np.full(n, np.nan)
    bands = [-np.inf, *BANDS_MM, np.inf]
    deviations = {
        name: pd.array(rng.random(n) < 0.06, dtype="boolean") if log else pd.array([pd.NA] * n, dtype="boolean")
        for name in DEVIATIONS
    }
    return pd.DataFrame(
        {
            "site_id": [f"S{i:04d}" for i in range(n)],
            "patient_id": [f"P{i:03d}" for i in patient],
            "centre": rng.choice(["east", "west"], max(n_patients, 1))[patient],
            "age_years": pd.array(rng.integers(30, 80, max(n_patients, 1))[patient], dtype="Int64"),
            "smoking": category(
                "smoking",
                rng.choice(LEVELS["smoking"], max(n_patients, 1), p=[0.5, 0.2, 0.25, 0.05])[patient],
            ),
            "surgery_year": pd.array(np.full(n, 2018), dtype="Int64"),
            "approach": category("approach", rng.choice(approaches, n)),
            "protocol": rng.choice(["A", "B"], n),
            "graft": category("graft", rng.choice(["none", "xenograft"], n)),
            "placement": category("placement", ["same_day"] * n),
            "perforation": category("perforation", perforation),
            "rbh_mid_mm": rbh,
            "rbh_band": pd.cut(rbh, bands, right=False, labels=["<4", "4 to <6", "≥6"]),
            "protrusion_mm": lift,
            "lift_band": pd.cut(lift, bands, right=False, labels=["<4", "4 to <6", "≥6"]),
            "planned_last_mm": planned,
            "ended": category(
                "ended", np.resize(["at_plan", "opened_before", "deeper", "short"], n) if log else [None] * n
            ),
            "as_drilled": as_drilled(pd.DataFrame(deviations)),
            "achieved_last_mm": planned + np.round(rng.normal(0.1, 0.5, n) * 2) / 2,
            **deviations,
            "healing": category("healing", rng.choice(LEVELS["healing"], n)),
            "bone_quality": pd.array(rng.integers(1, 5, n), dtype="Int64"),
            "torque_ncm": np.round(rng.normal(35, 8, n)),
            "isq": np.where(rng.random(n) < 0.3, np.nan, np.round(rng.normal(66, 5, n))),
            **made_surgery(np.random.default_rng([seed, 1]), perforation),
        }
    ).astype(dict.fromkeys(["site_id", "patient_id", "centre", "protocol"], object))


def made_surgery(rng: np.random.Generator, perforation: np.ndarray) -> dict:
    """What is recorded of surgery and of tears, a column each."""
    n, torn = len(perforation), perforation == "yes"

    def of_tears(values) -> np.ndarray:
        return np.where(torn, values, None).astype(object)

    return {
        "operator": rng.choice(["o1", "o2", "o3"], n).astype(object),
        "operator_case_no": pd.array(rng.integers(1, 60, n), dtype="Int64"),
        "perforation_test": category("perforation_test", rng.choice(LEVELS["perforation_test"], n)),
        "perforation_stage": category("perforation_stage", of_tears(rng.choice(LEVELS["perforation_stage"], n))),
        "perforation_mm": np.where(torn & (rng.random(n) < 0.8), np.round(rng.lognormal(0.7, 0.4, n), 1), np.nan),
        "perforation_management": category("perforation_management", of_tears(rng.choice(["membrane", "none"], n))),
        "lift_method": category("lift_method", rng.choice(["fluid", "osteotome"], n)),
        "fluid_ml": np.where(rng.random(n) < 0.4, np.round(rng.lognormal(-0.5, 0.3, n), 2), np.nan),
        "dome_ml": np.round(rng.uniform(0.05, 0.4, n), 3),
        "loading_months": np.round(rng.uniform(3, 7, n), 1),
        "implant_length_mm": rng.choice([6.5, 8.0], n),
        "implant_diameter_mm": rng.choice([3.6, 4.2], n),
    }


def made_visits(cases: pd.DataFrame, seed: int) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for site in cases.itertuples():
        for months in (0.0, 5.5, 12.0, 24.0, 36.0, 60.0):
            status = "failed" if months and rng.random() < 0.04 else "functioning"
            rows.append(
                (
                    site.site_id,
                    months,
                    status,
                    site.rbh_mid_mm + 0.7 * site.protrusion_mm + rng.normal(0, 0.5),
                )
            )
            if status == "failed" or rng.random() < 0.12:
                break
    visits = pd.DataFrame(rows, columns=["site_id", "months", "status", "bone_height_mm"])
    visits = visits.astype({"site_id": object, "months": float, "bone_height_mm": float})
    complication = rng.choice(LEVELS["complication"], len(visits), p=[0.9, 0.06, 0.04])
    return visits.assign(
        status=category("status", visits["status"]),
        complication=category("complication", complication),
        marginal_bone_mm=np.round(rng.gamma(2, 0.25 + visits["months"].to_numpy(float) / 150), 1),
    )


def made_set_aside() -> pd.DataFrame:
    columns = ["table", "file", "row", "column", "value_class", "rule", "message"]
    rows = [
        ("sites", "s.csv", 4, "rbh_min_mm", "number", "out_of_range", "0 is not above 0. Correct the cell."),
        (
            "sites",
            "s.csv",
            9,
            "perforation",
            "text",
            "not_a_level",
            "none of no, yes, unknown. Correct the cell.",
        ),
        ("patients", "p.csv", 5, None, "number", "key_repeated", "repeats the key of row 2. Remove one."),
    ]
    return pd.DataFrame(rows, columns=columns)


def made_corrected() -> pd.DataFrame:
    """How many cells were corrected by how many people; the last row counts all."""
    rows = [
        ("patients", "age_years", 3, 3, 2),
        ("sites", "tooth", 1, 1, 1),
        ("visits", None, 0, 2, 1),
        (None, None, 4, 6, 3),
    ]
    return pd.DataFrame(rows, columns=["table", "column", "cells", "rows", "people"])


def made_counts(cases: pd.DataFrame) -> pd.DataFrame:
    """How many rows of each table were read and kept."""
    n_patients = cases["patient_id"].nunique()
    rows = [
        ("patients", "p.csv", n_patients + 1, n_patients, 1),
        ("sites", "s.csv", len(cases) + 2, len(cases), 2),
    ]
    return pd.DataFrame(rows, columns=["table", "file", "read", "kept", "set_aside"])

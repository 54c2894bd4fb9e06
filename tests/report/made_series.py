"""A made-up series of any size with everything a report is built from: nothing here stems from a patient."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from liftseries.base.outputs import write_csv
from liftseries.geometry.deviations import DEVIATIONS
from liftseries.models.depth.agreement import fit_depth_agreement
from liftseries.models.depth.deviations import count_deviations
from liftseries.models.depth.proportional_bias import fit_depth_proportional_bias
from liftseries.models.gain.mixed import fit_gain_mixed
from liftseries.models.perforation.firth import fit_perforation_firth
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.perforation.imputed import fit_perforation_imputed, perforation_imputed_draws
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.perforation.risk import fit_perforation_risk
from liftseries.models.perforation.validation import fit_perforation_validation, validation_draws
from liftseries.models.sensitivity.detection import fit_sensitivity_detection
from liftseries.models.sensitivity.evalue import fit_sensitivity_evalue
from liftseries.models.sensitivity.icc import fit_measurement_icc
from liftseries.models.sensitivity.lost import fit_sensitivity_lost
from liftseries.models.series import describe
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.survival.competing import fit_survival_competing
from liftseries.models.survival.complications import count_complications
from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.firth_cox import fit_survival_firth_cox
from liftseries.models.survival.gain import fit_survival_gain
from liftseries.models.survival.imputed import fit_survival_imputed, survival_imputed_draws
from liftseries.models.survival.interval import fit_survival_interval
from liftseries.models.survival.km import fit_survival_km
from liftseries.models.survival.life_table import fit_survival_life_table
from liftseries.models.survival.patient import fit_survival_patient
from liftseries.models.survival.ph import fit_survival_ph
from liftseries.models.survival.rmst import fit_survival_rmst
from liftseries.models.survival.turnbull import fit_survival_turnbull, turnbull_draws
from liftseries.report.kit.drawing import draw_figure
from liftseries.report.kit.figures.style import Drawing
from liftseries.report.kit.files import LEFT, SPINE
from liftseries.report.purposes import purpose

BANDS_MM = [4.0, 6.0]
PLAN = {
    "study": {
        "id": "made_up",
        "title": "A made-up series",
        "question": "Does the report say what it should?",
    },
    "purpose": ["publication"],
    "tables": {"patients": ["p.csv"], "sites": ["s.csv"], "steps": ["l.csv"], "visits": ["v.csv"]},
    "plan": {
        "first_depth_margin_mm": {"guided": 1.0, "freehand": 1.5},
        "step_mm": 1.0,
        "depth_tolerance_mm": 0.05,
        "speed_limit_rpm": 800,
        "rbh_bands_mm": BANDS_MM,
        "survival_months": [12, 36, 60],
        "perforation_terms": ["rbh_mid_mm", "approach"],
        "survival_terms": ["rbh_mid_mm", "smoking"],
        "gain_terms": ["protrusion_mm", "graft", "months"],
        "landmark_months": 12.0,
        "risk_contrasts": {"rbh_mid_mm": [7, 4], "protrusion_mm": [2, 5], "approach": ["freehand", "guided"]},
        "imputation": {"sets": 3, "iterations": 2, "auxiliary": ["centre", "age_years"]},
        "resamples": 20,
        "seed": 7,
    },
    "extra_columns": {"sites": {"flapless": {"type": "category", "levels": ["no", "yes"]}}},
    "invalid_rows": "stop",
}
LEVELS = {
    "smoking": ["never", "former", "current", "unknown"],
    "approach": ["guided", "freehand"],
    "graft": ["none", "autogenous", "xenograft"],
    "perforation": ["no", "yes", "unknown"],
    "placement": ["same_day", "staged", "none"],
    "status": ["functioning", "failed", "patient_died", "not_examined"],
    "complication": ["none", "infection", "sinusitis"],
}


@dataclass(frozen=True)
class Series:
    """What the chapters of a run hand to the figures, and the tables that they leave."""

    cases: pd.DataFrame
    curves: pd.DataFrame
    left: dict[str, pd.DataFrame]  # path within the output folder -> table
    visits: pd.DataFrame
    implants: pd.DataFrame

    def rows(self, analysis: str) -> pd.DataFrame:
        results = self.left["results.csv"]
        return results[results["analysis"].eq(analysis)]

    def read(self, source: str) -> pd.DataFrame:
        """A table by the name under which figures ask for it."""
        if source.startswith("results:"):
            return self.rows(source.removeprefix("results:"))
        rows = {"cases": self.cases, "visits": self.visits, "implants": self.implants}
        return rows[source] if source in rows else self.left[(SPINE | LEFT)[source]]

    def drawings(self) -> dict[str, Drawing]:
        """Every figure of the report."""
        return {figure.name: draw_figure(figure, self.read, PLAN) for figure in purpose("publication").figures}

    def leave_in(self, output: Path) -> Path:
        """Write the tables as a run leaves them."""
        for path, table in self.left.items():
            write_csv(output / path, table)
        return output


KINDS = {
    "full": {"n_patients": 90, "seed": 3},
    "tiny": {"n_patients": 2, "seed": 4},
    "one_level": {"n_patients": 40, "seed": 5, "approaches": ("guided",)},
    "empty": {"n_patients": 0, "seed": 6},
    "no_visits_no_log": {"n_patients": 30, "seed": 8, "visits": False, "log": False},
}


def category(name: str, values) -> pd.Categorical:
    return pd.Categorical(list(values), categories=LEVELS[name])


def made_series(n_patients: int, seed: int, approaches=("guided", "freehand"), visits: bool = True, log: bool = True):
    """A series of `n_patients` with 1 to 3 sites each; the models are fitted as a run fits them."""
    cases = _cases(n_patients, seed, approaches, log)
    visited = _visits(cases, seed + 1) if visits else _visits(cases.iloc[:0], seed)
    followed = follow_up(visited, cases)
    plan = PLAN["plan"]
    implants, months = followed.implants, plan["survival_months"]
    odds, hazards, seed = plan["perforation_terms"], plan["survival_terms"], plan["seed"]
    resamples = seed, 0, plan["resamples"]
    auxiliary = plan["imputation"]["auxiliary"], ["patient_id", "centre", "age_years", "smoking"]
    sets = seed, 0, plan["imputation"]["sets"], plan["imputation"]["iterations"]
    gee, cox = fit_perforation_gee(cases, odds), fit_survival_cox(implants, hazards)
    km = fit_survival_km(implants, months, by=["rbh_band", "approach"])
    life = fit_survival_life_table(implants)
    risk = fit_perforation_risk(cases, odds, plan["risk_contrasts"])
    odds_imputed = fit_perforation_imputed(
        cases, odds, *auxiliary, perforation_imputed_draws(cases, odds, *auxiliary, *sets)
    )
    hazards_imputed = fit_survival_imputed(
        implants, hazards, *auxiliary, survival_imputed_draws(implants, hazards, *auxiliary, *sets)
    )
    turnbull = fit_survival_turnbull(implants, months, turnbull_draws(implants, months, *resamples))
    competing = fit_survival_competing(implants, months, by=["approach"])
    ph = fit_survival_ph(implants, hazards)
    gained = fit_gain_mixed(visited, cases, plan["gain_terms"])
    fits = {
        "perforation_rate": fit_perforation_rate(cases, by=["rbh_band", "lift_band", "approach", "protocol", "centre"]),
        "perforation_gee": gee,
        "perforation_firth": fit_perforation_firth(cases, odds),
        "perforation_imputed": odds_imputed,
        "perforation_risk": risk,
        "perforation_validation": fit_perforation_validation(cases, odds, validation_draws(cases, odds, *resamples)),
        "survival_km": km,
        "survival_life_table": life,
        "survival_cox": cox,
        "survival_firth_cox": fit_survival_firth_cox(implants, hazards),
        "survival_imputed": hazards_imputed,
        "survival_interval": fit_survival_interval(implants, hazards, months),
        "survival_turnbull": turnbull,
        "survival_competing": competing,
        "survival_ph": ph,
        "survival_rmst": fit_survival_rmst(implants, months, by=["approach"]),
        "survival_patient": fit_survival_patient(implants, months),
        "survival_gain": fit_survival_gain(visited, implants, cases, hazards, plan["landmark_months"]),
        "gain_mixed": gained,
        "measurement_icc": fit_measurement_icc(cases, visited),
        "depth_agreement": fit_depth_agreement(cases),
        "depth_proportional_bias": fit_depth_proportional_bias(cases),
        "sensitivity_evalue": fit_sensitivity_evalue(gee.rows, cox.rows),
        "sensitivity_detection": fit_sensitivity_detection(cases),
        "sensitivity_lost": fit_sensitivity_lost(implants, months),
    }
    n_patients_there = cases["patient_id"].nunique()
    counts = pd.DataFrame(
        [
            ("patients", "p.csv", n_patients_there + 1, n_patients_there, 1),
            ("sites", "s.csv", len(cases) + 2, len(cases), 2),
        ],
        columns=["table", "file", "read", "kept", "set_aside"],
    )
    left = {
        "results.csv": pd.concat(
            [table for fit in fits.values() for table in (fit.rows, fit.design_effects) if len(table)],
            ignore_index=True,
        ),
        "set_aside.csv": _set_aside(),
        "checked/counts.csv": counts,
        "models/flow.csv": describe.flow(cases, visited, counts),
        "models/characteristics.csv": describe.characteristics(cases),
        "models/missing.csv": describe.missingness(cases),
        "models/deviations.csv": count_deviations(cases),
        "models/complications.csv": count_complications(visited, cases),
        "models/life_table.csv": life.table,
        "models/survival_curves.csv": km.curves,
        "models/survival_at_risk.csv": km.at_risk,
        "models/ladder_cases.csv": ladder_cases() if log else ladder_cases().iloc[:0],
        "models/gain_variances.csv": gained.variances,
        "models/gain_by_visit.csv": gained.by_visit,
        "models/perforation_risk_curves.csv": risk.curves,
        "models/survival_turnbull_curves.csv": turnbull.curves,
        "models/survival_competing_curves.csv": competing.curves,
        "models/survival_ph_residuals.csv": ph.residuals,
        "models/perforation_imputation.csv": odds_imputed.models,
        "models/survival_imputation.csv": hazards_imputed.models,
    } | {f"models/{name}.left_out.csv": fit.left_out for name, fit in fits.items()}
    return Series(cases, km.curves, left, visited, implants)


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


def _cases(n_patients: int, seed: int, approaches, log: bool) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    patient = np.repeat(np.arange(n_patients), rng.integers(1, 4, n_patients))
    n = len(patient)
    rbh = np.round(rng.uniform(2, 8, n), 1)
    lift = np.round(rng.uniform(1, 6, n), 1)
    risk = 1 / (1 + np.exp(1.2 + 0.2 * (rbh - 5)))
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
            "achieved_last_mm": planned + np.round(rng.normal(0.1, 0.5, n) * 2) / 2,
            **deviations,
        }
    ).astype(dict.fromkeys(["site_id", "patient_id", "centre", "protocol"], object))


def _visits(cases: pd.DataFrame, seed: int) -> pd.DataFrame:
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
        status=category("status", visits["status"]), complication=category("complication", complication)
    )


def _set_aside() -> pd.DataFrame:
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

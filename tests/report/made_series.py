"""A made-up series of any size with everything a report is built from: nothing here stems from a patient."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from made_tables import BANDS_MM, ladder_cases, made_cases, made_corrected, made_counts, made_set_aside, made_visits

from liftseries.base.outputs import write_csv
from liftseries.models.depth.agreement import fit_depth_agreement
from liftseries.models.depth.perforation import fit_depth_perforation
from liftseries.models.depth.proportional_bias import fit_depth_proportional_bias
from liftseries.models.depth.read import fit_depth_read
from liftseries.models.depth.shares import fit_depth_adherence, fit_depth_deviations, fit_depth_ended
from liftseries.models.files import file_of, work_file
from liftseries.models.gain.marginal import fit_bone_marginal
from liftseries.models.gain.mixed import fit_gain_mixed
from liftseries.models.gain.stability import fit_stability
from liftseries.models.perforation.firth import fit_perforation_firth
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.perforation.imputed import fit_perforation_imputed, perforation_imputed_draws
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.perforation.recorded import fit_perforation_recorded
from liftseries.models.perforation.risk import fit_perforation_risk
from liftseries.models.perforation.validation import fit_perforation_validation, validation_draws
from liftseries.models.questions import questions_for
from liftseries.models.sensitivity.detection import fit_sensitivity_detection
from liftseries.models.sensitivity.evalue import fit_sensitivity_evalue
from liftseries.models.sensitivity.icc import fit_measurement_icc
from liftseries.models.sensitivity.lost import fit_sensitivity_lost
from liftseries.models.series import describe
from liftseries.models.series.recorded import describe_surgery
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.shared.results import Estimates
from liftseries.models.survival.competing import fit_survival_competing
from liftseries.models.survival.completeness import fit_followup_completeness
from liftseries.models.survival.complications import fit_complications
from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.failures import failed_implants
from liftseries.models.survival.firth_cox import fit_survival_firth_cox
from liftseries.models.survival.gain import fit_survival_gain
from liftseries.models.survival.imputed import fit_survival_imputed, survival_imputed_draws
from liftseries.models.survival.interval import fit_survival_interval
from liftseries.models.survival.km import fit_survival_km
from liftseries.models.survival.life_table import fit_survival_life_table
from liftseries.models.survival.patient import fit_survival_patient
from liftseries.models.survival.ph import fit_survival_ph
from liftseries.models.survival.rmst import fit_survival_rmst
from liftseries.models.survival.time_observed import fit_followup_time
from liftseries.models.survival.turnbull import fit_survival_turnbull, turnbull_draws
from liftseries.report.kit.drawing import draw_figure
from liftseries.report.kit.figures.style import Drawing
from liftseries.report.purposes import purpose

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
        "comparison": {
            "groups": "protocol",
            "reference": "A",
            "adjust_for": ["rbh_mid_mm"],
            "weights": ["overlap"],
            "primary": "perforation",
            "margin": 0.1,
            "registered": {"registry": "", "number": "", "date": ""},
            "changed": [],
        },
        "resamples": 20,
        "seed": 7,
        "audit": {"by": "operator", "period": [], "centre": "series", "standard": None},
    },
    "extra_columns": {"sites": {"flapless": {"type": "category", "levels": ["no", "yes"]}}},
    "invalid_rows": "stop",
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
        rows["derived_steps"] = made_readings(self.cases)
        return rows[source] if source in rows else self.left[file_of(source)]

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


def made_series(
    n_patients: int,
    seed: int,
    approaches=("guided", "freehand"),
    visits: bool = True,
    log: bool = True,
    torn: bool = True,
):
    """A series of `n_patients` with 1 to 3 sites each; the models are fitted as a run fits them."""
    cases = made_cases(n_patients, seed, approaches, log, torn)
    visited = made_visits(cases, seed + 1) if visits else made_visits(cases.iloc[:0], seed)
    implants = follow_up(visited, cases).implants
    fits = fitted(cases, visited, implants)
    counts = made_counts(cases)
    leaves = {
        table.name: getattr(fits[question.name], table.attribute)
        for question in questions_for(["publication"])
        if question.analyses
        for table in question.leaves
    }
    leaves |= {
        "flow": describe.flow(cases, visited, counts),
        "characteristics": describe.characteristics(cases),
        "missing": describe.missingness(cases),
        "failed_implants": failed_implants(implants),
    }
    rows = [table for fit in fits.values() for table in (fit.rows, fit.design_effects) if len(table)]
    left = {
        "results.csv": pd.concat(rows, ignore_index=True),
        "set_aside.csv": made_set_aside(),
        "checked/counts.csv": counts,
        "checked/corrected.csv": made_corrected(),
        file_of("ladder_cases"): ladder_cases() if log else ladder_cases().iloc[:0],
    }
    left |= {file_of(name): table for name, table in leaves.items()}
    left |= {work_file(f"{name}.left_out"): fit.left_out for name, fit in fits.items()}
    return Series(cases, leaves["survival_curves"], left, visited, implants)


def made_readings(cases: pd.DataFrame) -> pd.DataFrame:
    """A gauge pass at every second site with a log, read up to 0.2 mm off the hole; no rows without a log."""
    sites = cases.loc[cases["as_drilled"].notna(), "site_id"].iloc[::2]
    hole = 3.0 + np.arange(len(sites)) % 4
    read = hole + np.resize([-0.2, 0.0, 0.1, 0.0, 0.2], len(sites))
    told = {"finding": "closed", "advance_mm": np.nan, "deepest_before_mm": hole, "read_depth_mm": read}
    return pd.DataFrame({"site_id": sites, "step_no": 2, **told})


def fitted(cases: pd.DataFrame, visited: pd.DataFrame, implants: pd.DataFrame) -> dict[str, Estimates]:
    """Every question that has analyses, by name."""
    plan = PLAN["plan"]
    odds, hazards, months = plan["perforation_terms"], plan["survival_terms"], plan["survival_months"]
    resamples = plan["seed"], 0, plan["resamples"]
    auxiliary = plan["imputation"]["auxiliary"], ["patient_id", "centre", "age_years", "smoking"]
    sets = plan["seed"], 0, plan["imputation"]["sets"], plan["imputation"]["iterations"]
    gee, cox = fit_perforation_gee(cases, odds), fit_survival_cox(implants, hazards)
    firth_cox = fit_survival_firth_cox(implants, hazards)
    firth = fit_perforation_firth(cases, odds)
    odds_drawn = perforation_imputed_draws(cases, odds, *auxiliary, *sets)
    hazards_drawn = survival_imputed_draws(implants, hazards, *auxiliary, *sets)
    return {
        "perforation_rate": fit_perforation_rate(cases, by=["rbh_band", "lift_band", "approach", "protocol", "centre"]),
        "perforation_gee": gee,
        "perforation_firth": firth,
        "perforation_imputed": fit_perforation_imputed(cases, odds, *auxiliary, odds_drawn),
        "perforation_risk": fit_perforation_risk(cases, odds, plan["risk_contrasts"]),
        "perforation_validation": fit_perforation_validation(cases, odds, validation_draws(cases, odds, *resamples)),
        "followup_completeness": fit_followup_completeness(cases, implants, visited, months, ""),
        "followup_time": fit_followup_time(implants),
        "complications": fit_complications(visited, cases, by=["protocol"]),
        "perforation_recorded": fit_perforation_recorded(cases, implants, visited),
        "surgery": describe_surgery(cases, implants),
        "survival_km": fit_survival_km(implants, months, by=["rbh_band", "approach"]),
        "survival_life_table": fit_survival_life_table(implants),
        "survival_cox": cox,
        "survival_firth_cox": firth_cox,
        "survival_imputed": fit_survival_imputed(implants, hazards, *auxiliary, hazards_drawn),
        "survival_interval": fit_survival_interval(implants, hazards, months),
        "survival_turnbull": fit_survival_turnbull(implants, months, turnbull_draws(implants, months, *resamples)),
        "survival_competing": fit_survival_competing(implants, months, by=["approach"]),
        "survival_ph": fit_survival_ph(implants, hazards),
        "survival_rmst": fit_survival_rmst(implants, months, by=["approach"]),
        "survival_patient": fit_survival_patient(implants, months),
        "survival_gain": fit_survival_gain(visited, implants, cases, hazards, plan["landmark_months"]),
        "gain_mixed": fit_gain_mixed(visited, cases, plan["gain_terms"]),
        "bone_marginal": fit_bone_marginal(visited, cases, months),
        "stability": fit_stability(cases, by=["bone_quality", "rbh_band"]),
        "measurement_icc": fit_measurement_icc(cases, visited),
        "depth_ended": fit_depth_ended(cases),
        "depth_adherence": fit_depth_adherence(cases, ["approach", "protocol", "centre"]),
        "depth_perforation": fit_depth_perforation(cases),
        "depth_deviations": fit_depth_deviations(cases, ["approach"]),
        "depth_read": fit_depth_read(cases, made_readings(cases)),
        "depth_agreement": fit_depth_agreement(cases),
        "depth_proportional_bias": fit_depth_proportional_bias(cases),
        "sensitivity_evalue": fit_sensitivity_evalue(gee.rows, cox.rows, firth.rows, firth_cox.rows),
        "sensitivity_detection": fit_sensitivity_detection(cases),
        "sensitivity_lost": fit_sensitivity_lost(implants, cases, visited, months, ""),
    }

"""Every question of the plan asked of the same tables, for tests of what all answers have in common."""

import io

import numpy as np
import pandas as pd

from liftseries.models.comparison.drilling import fit_comparison_drilling
from liftseries.models.comparison.gain import fit_comparison_gain
from liftseries.models.comparison.perforation import fit_comparison_perforation
from liftseries.models.comparison.survival import fit_comparison_survival
from liftseries.models.depth.agreement import fit_depth_agreement
from liftseries.models.depth.perforation import fit_depth_perforation
from liftseries.models.depth.proportional_bias import fit_depth_proportional_bias
from liftseries.models.depth.read import fit_depth_read
from liftseries.models.depth.shares import fit_depth_adherence, fit_depth_deviations, fit_depth_ended
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
from liftseries.models.sensitivity.detection import fit_sensitivity_detection
from liftseries.models.sensitivity.evalue import fit_sensitivity_evalue
from liftseries.models.sensitivity.icc import fit_measurement_icc
from liftseries.models.sensitivity.lost import fit_sensitivity_lost
from liftseries.models.series.recorded import describe_surgery
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.survival.competing import fit_survival_competing
from liftseries.models.survival.completeness import fit_followup_completeness
from liftseries.models.survival.complications import fit_complications
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
from liftseries.models.survival.time_observed import fit_followup_time
from liftseries.models.survival.turnbull import fit_survival_turnbull, turnbull_draws

MONTHS = [12, 36, 60]
ODDS, HAZARDS, GAIN = ["rbh_mid_mm", "approach"], ["rbh_mid_mm", "smoking"], ["protrusion_mm", "graft", "months"]
CONTRASTS = {"rbh_mid_mm": [7, 4], "protrusion_mm": [2, 5], "approach": ["freehand", "guided"]}
HELPERS = ["centre", "age_years"], ["patient_id", "centre", "age_years", "smoking"]
GROUPS = "protocol", "A", HAZARDS, ["overlap", "inverse_probability"]
RESAMPLES = 1, 0, 12  # seed, first and how many
SETS = 1, 0, 3, 2  # and iterations


def stored(draws: pd.DataFrame) -> pd.DataFrame:
    """As the next job of a run reads them."""
    return pd.read_csv(io.StringIO(draws.to_csv(index=False)))


def gauged(cases: pd.DataFrame) -> pd.DataFrame:
    """A log of one gauge pass at two of three sites, read 0.1 mm too deep at every other one of them."""
    sites = cases["site_id"][np.arange(len(cases)) % 3 > 0]
    read = [4.1 if number % 2 else 4.0 for number in range(len(sites))]
    hole = {"advance_mm": float("nan"), "deepest_before_mm": 4.0, "read_depth_mm": read}
    return pd.DataFrame({"site_id": sites, "step_no": 2, "finding": "closed", **hole})


def every_question(cases, visits, odds=ODDS, hazards=HAZARDS) -> dict:
    """Name of the question -> its estimates."""
    implants = follow_up(visits, cases).implants
    gee, cox = fit_perforation_gee(cases, odds), fit_survival_cox(implants, hazards)
    firth_cox = fit_survival_firth_cox(implants, hazards)
    firth = fit_perforation_firth(cases, odds)
    odds_draws = stored(perforation_imputed_draws(cases, odds, *HELPERS, *SETS))
    hazard_draws = stored(survival_imputed_draws(implants, hazards, *HELPERS, *SETS))
    resampled = stored(turnbull_draws(implants, MONTHS, *RESAMPLES))
    judged = stored(validation_draws(cases, odds, *RESAMPLES))
    return {
        "perforation_rate": fit_perforation_rate(cases, ["rbh_band", "approach"]),
        "perforation_gee": gee,
        "perforation_firth": firth,
        "perforation_imputed": fit_perforation_imputed(cases, odds, *HELPERS, odds_draws),
        "perforation_risk": fit_perforation_risk(cases, odds, CONTRASTS),
        "perforation_recorded": fit_perforation_recorded(cases, implants, visits),
        "surgery": describe_surgery(cases, implants),
        "perforation_validation": fit_perforation_validation(cases, odds, judged),
        "followup_completeness": fit_followup_completeness(cases, implants, visits, MONTHS, ""),
        "followup_time": fit_followup_time(implants),
        "complications": fit_complications(visits, cases, ["protocol"]),
        "survival_km": fit_survival_km(implants, MONTHS, ["rbh_band"]),
        "survival_life_table": fit_survival_life_table(implants),
        "survival_cox": cox,
        "survival_firth_cox": firth_cox,
        "survival_imputed": fit_survival_imputed(implants, hazards, *HELPERS, hazard_draws),
        "survival_interval": fit_survival_interval(implants, hazards, MONTHS),
        "survival_turnbull": fit_survival_turnbull(implants, MONTHS, resampled),
        "survival_competing": fit_survival_competing(implants, MONTHS, ["approach", "protocol"]),
        "survival_ph": fit_survival_ph(implants, hazards),
        "survival_rmst": fit_survival_rmst(implants, MONTHS, ["approach", "protocol"]),
        "survival_patient": fit_survival_patient(implants, MONTHS),
        "survival_gain": fit_survival_gain(visits, implants, cases, hazards, 12.0),
        "gain_mixed": fit_gain_mixed(visits, cases, GAIN),
        "bone_marginal": fit_bone_marginal(visits, cases, MONTHS),
        "stability": fit_stability(cases, ["bone_quality", "rbh_band"]),
        "measurement_icc": fit_measurement_icc(cases, visits),
        "depth_ended": fit_depth_ended(cases),
        "depth_adherence": fit_depth_adherence(cases, ["approach", "protocol", "centre"]),
        "depth_perforation": fit_depth_perforation(cases),
        "depth_deviations": fit_depth_deviations(cases, ["approach"]),
        "depth_agreement": fit_depth_agreement(cases),
        "depth_read": fit_depth_read(cases, gauged(cases)),
        "depth_proportional_bias": fit_depth_proportional_bias(cases),
        "sensitivity_evalue": fit_sensitivity_evalue(gee.rows, cox.rows, firth.rows, firth_cox.rows),
        "sensitivity_detection": fit_sensitivity_detection(cases),
        "sensitivity_lost": fit_sensitivity_lost(implants, cases, visits, MONTHS, ""),
        "comparison_perforation": fit_comparison_perforation(cases, *GROUPS),
        "comparison_survival": fit_comparison_survival(implants, cases, MONTHS, *GROUPS),
        "comparison_gain": fit_comparison_gain(visits, cases, *GROUPS),
        "comparison_drilling": fit_comparison_drilling(cases, *GROUPS),
    }

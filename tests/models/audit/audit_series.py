"""An invented series with operators, for tests of an audit: nothing here stems from a patient."""

from __future__ import annotations

import numpy as np
import pandas as pd
from invented import category, invented_cases

PLAN = {"by": "operator", "centre": "series", "standard": None, "expected": {}}
LIMITS = {"alert_sd": 2, "alarm_sd": 3}
MIX = ["rbh_mid_mm", "floor_slope_deg"]
CUSUM = {"odds_ratio": 2.0, "false_alarm": 0.05, "cusum_cases": 100, "limits": {}}
CHANCE = {"resamples": 1, "seed": 5}
STATUS = ["functioning", "failed", "patient_died", "not_examined"]
KINDS = ["none", "infection", "sinusitis", "vertigo", "bleeding", "displacement", "other"]
ASKED = {
    "by": "operator",
    "period": [],
    "standard": None,
    "alert_sd": 2,
    "expected": {},
    "unrecorded": "not_done",
    "names": [],
    "months": [12, 36],
    "data_until": "2026-12",
    "depth_tolerance_mm": 0.05,
    "step_mm": 1.0,
}

# The scale that each term of an analysis is told in, whether it is told or refused.
RISKS = ("expected", "lower_alarm", "lower_alert", "rate", "upper_alarm", "upper_alert")
PLACE = dict.fromkeys(RISKS, "risk") | {"flag": "flag"}
PLACE |= dict.fromkeys(("false_alarm_flag", "false_flag", "p_high", "p_low"), "probability")
FLAGS = dict.fromkeys(("alarm_flags", "expected_alarm_flags", "expected_flags", "flags"), "count")
SCALES = {
    "audit.series": PLACE,
    "audit.funnel": PLACE
    | FLAGS
    | {"any_alarm_flag": "probability", "any_flag": "probability", "needed_sites": "count", "years": "years"},
    "audit.cusum": {
        "achieved_false_alarm": "probability",
        "expected_signals": "count",
        "final": "log_likelihood_ratio",
        "first_signal": "cases",
        "limit": "log_likelihood_ratio",
        "run_length": "cases",
        "signals": "count",
    },
    "audit.overdispersion": {"expected": "statistic", "statistic": "statistic"},
    "audit.random_effects": {
        "pooled": "log_odds",
        "prediction_high": "risk",
        "prediction_low": "risk",
        "rate": "risk",
        "tau": "log_odds",
    },
    "audit.year": {"difference": "risk_difference", "rate": "risk", "surgery_year": "log_odds"},
}


def with_operators(cases: pd.DataFrame, n_operators: int = 5, seed: int = 3) -> pd.DataFrame:
    """The cases with operators, their running count and a slope of the floor; a patient has one operator."""
    rng = np.random.default_rng(seed)
    patient = pd.factorize(cases["patient_id"])[0]
    operator = np.array([f"OP{k % n_operators + 1}" for k in patient], object)
    count = pd.Series(operator).groupby(operator).cumcount().to_numpy() + 1
    return cases.assign(
        operator=operator,
        operator_case_no=pd.array(count, dtype="Int64"),
        floor_slope_deg=np.round(rng.gamma(2, 5, len(cases)), 1),
        perforation_test=pd.Categorical(["valsalva"] * len(cases), ["none", "valsalva", "endoscopy"]),
        last_error_mm=cases["achieved_last_mm"] - cases["planned_last_mm"],
        overdrill_mm=0.1,
    )


def operators(n_patients: int = 150, seed: int = 11, n_operators: int = 5) -> pd.DataFrame:
    """An invented series with operators."""
    return with_operators(invented_cases(n_patients, seed), n_operators)


def counted(events: dict[str, tuple[int, int]], **columns) -> pd.DataFrame:
    """Units of so many tears among so many sites, each site its own patient: `{"A": (3, 40)}`."""
    unit = np.repeat(list(events), [n for _, n in events.values()])
    torn = np.concatenate([np.arange(n) < x for x, n in events.values()])
    n = len(unit)
    count = pd.Series(unit).groupby(unit).cumcount().to_numpy() + 1
    table = pd.DataFrame(
        {
            "site_id": [f"S{k:04d}" for k in range(n)],
            "patient_id": [f"P{k:04d}" for k in range(n)],
            "operator": unit,
            "operator_case_no": pd.array(count, dtype="Int64"),
            "surgery_year": pd.array(2020 + count % 2, dtype="Int64"),
            "perforation": category("perforation", np.where(torn, "yes", "no")),
            "rbh_mid_mm": 3 + np.arange(n) % 7 * 0.5,
            "floor_slope_deg": np.arange(n) % 5 * 4.0,
        }
    )
    return table.assign(**columns)


def visits_of(*rows) -> pd.DataFrame:
    """Rows of site, months, status, complication ("" is none told) and bone height."""
    table = pd.DataFrame(rows, columns=["site_id", "months", "status", "complication", "bone_height_mm"])
    told = table["complication"].mask(table["complication"].eq(""))
    return table.assign(
        months=table["months"].astype(float),
        status=pd.Categorical(table["status"], STATUS),
        complication=pd.Categorical(told, KINDS),
        bone_height_mm=table["bone_height_mm"].astype(float),
    )

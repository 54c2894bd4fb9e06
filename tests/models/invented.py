"""An invented case series of any size: nothing here stems from a patient."""

import numpy as np
import pandas as pd

from liftseries.geometry.deviations import DEVIATIONS

LEVELS = {
    "sex": ["female", "male", "other", "unknown"],
    "smoking": ["never", "former", "current", "unknown"],
    "approach": ["guided", "freehand"],
    "graft": ["none", "autogenous", "allograft", "xenograft"],
    "septum": ["no", "yes", "unknown"],
    "perforation": ["no", "yes", "unknown"],
    "placement": ["same_day", "staged", "none"],
    "healing": ["submerged", "transmucosal"],
    "status": ["functioning", "failed", "patient_died", "not_examined"],
    "complication": ["none", "infection", "sinusitis", "vertigo"],
    "ended": ["at_plan", "opened_before", "deeper", "short"],
    "as_drilled": ["plan", "not_plan"],
}


def deviation(k: int, n: int) -> pd.arrays.BooleanArray:
    """Every third site that was not drilled as planned has it; some logs do not tell, every fifth site has none."""
    occurred = (np.arange(n) % 5 == 2) & (np.arange(n) // 5 % 3 == k % 3)
    not_judged = (np.arange(n) % 5 == 4) | ((k > 6) & (np.arange(n) % 7 == 0))
    return pd.array(np.where(not_judged, None, occurred), dtype="boolean")


def category(name: str, values) -> pd.Categorical:
    """A column as the intake gives it: a categorical with all its declared levels."""
    return pd.Categorical(list(values), categories=LEVELS[name])


def invented_cases(n_patients: int, seed: int) -> pd.DataFrame:
    """One row a site, 1-3 sites a patient, in the shape that cases() gives."""
    rng = np.random.default_rng(seed)
    size = rng.integers(1, 4, n_patients)
    patient = np.repeat(np.arange(n_patients), size)
    n = len(patient)
    rbh = np.round(rng.uniform(2, 8, n), 1)
    risk = 1 / (1 + np.exp(1.2 + 0.2 * (rbh - 5) - rng.normal(0, 0.7, n_patients)[patient]))
    cases = pd.DataFrame(
        {
            "site_id": [f"S{i:04d}" for i in range(n)],
            "patient_id": [f"P{i:03d}" for i in patient],
            "centre": rng.choice(["east", "west"], n_patients)[patient],
            "age_years": rng.integers(30, 80, n_patients)[patient],
            "smoking": category("smoking", rng.choice(["never", "former", "current"], n_patients)[patient]),
            "surgery_year": 2018 + patient % 4,
            "approach": category("approach", rng.choice(["guided", "freehand"], n)),
            "protocol": rng.choice(["A", "B"], n),
            "graft": category("graft", rng.choice(["none", "xenograft"], n)),
            "septum": category("septum", rng.choice(["no", "yes"], n)),
            "placement": category("placement", ["same_day"] * n),
            "perforation": category("perforation", np.where(rng.random(n) < risk, "yes", "no")),
            "rbh_mid_mm": rbh,
            "rbh_band": pd.cut(rbh, [-np.inf, 4, 6, np.inf], right=False, labels=["<4", "4 to <6", "≥6"]),
            "protrusion_mm": np.round(rng.uniform(1, 6, n), 1),
            "planned_last_mm": np.round(rbh),
            "achieved_last_mm": np.round(rbh) + np.round(rng.normal(0.1, 0.5, n), 1),
            "ended": category("ended", np.resize(["at_plan", "opened_before", "deeper", "at_plan", "short", None], n)),
            "as_drilled": category("as_drilled", np.resize(["plan", "plan", "not_plan", "plan", None], n)),
            **{name: deviation(k, n) for k, name in enumerate(DEVIATIONS)},
        }
    )
    return cases.assign(
        healing=category("healing", rng.choice(LEVELS["healing"], n)),
        bone_quality=pd.array(np.where(rng.random(n) < 0.1, None, rng.integers(1, 5, n)), dtype="Int64"),
        torque_ncm=np.round(rng.normal(35, 8, n)),
        isq=np.where(rng.random(n) < 0.3, np.nan, np.round(rng.normal(66, 5, n))),
    )


def invented_visits(cases: pd.DataFrame, seed: int) -> pd.DataFrame:
    """Visits at 0, 6, 12, 24, 36 and 60 months, with failures, dropouts and bone heights."""
    rng = np.random.default_rng(seed)
    own = dict(zip(cases["patient_id"].unique(), rng.normal(0, 0.6, cases["patient_id"].nunique()), strict=True))
    rows = []
    for site in cases.itertuples():
        site_effect = rng.normal(0, 0.4)
        for months in (0.0, 6.0, 12.0, 24.0, 36.0, 60.0):
            status = "failed" if rng.random() < 0.05 else "functioning"
            height = site.rbh_mid_mm + 3 + own[site.patient_id] + site_effect + rng.normal(0, 0.4)
            rows.append((site.site_id, months, status, height))
            if status == "failed" or rng.random() < 0.15:
                break
    visits = pd.DataFrame(rows, columns=["site_id", "months", "status", "bone_height_mm"])
    complication = rng.choice(["none", "infection", "sinusitis"], len(visits), p=[0.9, 0.06, 0.04])
    return visits.assign(
        status=category("status", visits["status"]),
        complication=category("complication", complication),
        marginal_bone_mm=np.round(rng.gamma(2, 0.25 + visits["months"].to_numpy(float) / 150), 1),
    )

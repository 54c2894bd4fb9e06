"""The demo series: a made-up study of crestal sinus floor lifts, and the truth it was drawn from.

Run as `python synthetic_data/make_series.py`. It writes study.yaml, the tables, the committee's files and
truth.yaml beside itself, byte for byte the same each time (the Parquet files as long as pyarrow stays the same).

Nothing here describes a real person, clinic or product. What the models ask for is drawn so that the answer
is known. A perforation and a failure time follow their model exactly at every single site (the perforation's has
two operators in it that the plan's does not know: truth.yaml gives what that model then estimates); sites of one
patient are tied together by a Gaussian copula, which leaves each site's own chance as it was. What hides a
value (an answer not given, a missed visit, a dropout, a death) is drawn without a look at the outcomes.

For an audit to find, each at a centre of its own: an operator at twice the odds of a perforation (Heath), one
who improves with the cases (Brook), an operator who sends nothing in the last year (Moor), and a centre that stops
probing (Dune). Fen is as usual. Effects of that size in so few sites can stay unseen: at first op06 was to improve,
from eight times the odds, and had by chance no tear in the first nineteen cases. So the improver is another one, and
the effect larger; the seed is what it was. truth.yaml gives the tears that were to be expected.

SEED is a round date and was not searched for. With it the 95 % interval of every coefficient holds its truth.
A draft of this script, which drew the failure times from another stream of the same seed, missed both smoking
terms, as intervals now and then must.
"""

import io
import re
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
from committee import write_committee
from scipy.stats import norm

FOLDER = Path(__file__).parent
SEED = 20260101
N_PATIENTS = 420
END_OF_FOLLOW_UP = 2026.0  # years; the day on which all centres close their tables
VISIT_MONTHS = (0, 6, 12, 24, 36, 48, 60, 84)

# ── The truth ───────────────────────────────────────────────────────────────────────────────────────────────
PERFORATION = {  # log odds
    "(intercept)": -3.05,
    "rbh_mid_mm": -0.30,
    "floor_slope_deg": 0.04,
    "approach[guided]": -0.60,
    "protrusion_mm": 0.30,
}
FAILURE = {"rbh_mid_mm": -0.25, "smoking[former]": 0.30, "smoking[current]": 0.80}  # log hazard
FAILURE_SHAPE, FAILURE_RATE = 0.60, 0.0145  # cumulative hazard RATE * months**SHAPE * exp(log hazard)
GAIN = {  # mm
    "(intercept)": 0.40,
    "protrusion_mm": 0.70,
    "graft[autogenous]": 0.30,
    "graft[xenograft]": 0.60,
    "graft[alloplast]": 0.50,
    "graft[blood_concentrate]": 0.20,
    "months": -0.006,
}
GAIN_SD_MM = {"patient": 0.45, "site": 0.35, "residual": 0.40}
ODDS_OF_OPERATOR = {"op01": 2.0}  # times the others', with sites alike
IMPROVER, FIRST_CASE_ODDS, LEARNING_CASES = "op14", 20.0, 25  # its log odds against the others fall by 1/e in so many
PERFORATION_COPULA, FAILURE_COPULA = 0.35, 0.35  # correlation of two sites of one patient, normal scale

# ── Who took part ───────────────────────────────────────────────────────────────────────────────────────────
CENTRES = ["Heath", "Fen", "Moor", "Dune", "Brook"]
CENTRE_SHARE = [0.27, 0.23, 0.20, 0.17, 0.13]
OPERATORS = {
    "Heath": ["op01", "op02", "op03"],
    "Fen": ["op04", "op05", "op06"],
    "Moor": ["op07", "op08", "op09"],
    "Dune": ["op10", "op11", "op12"],
    "Brook": ["op13", "op14"],
}
PROTOCOL_SHARE = {  # of A, B and C
    "Heath": [0.60, 0.25, 0.15],
    "Fen": [0.30, 0.50, 0.20],
    "Moor": [0.20, 0.30, 0.50],
    "Dune": [0.45, 0.40, 0.15],
    "Brook": [0.35, 0.20, 0.45],
}
GUIDED_SHARE = {  # by protocol
    "Heath": {"A": 0.85, "B": 0.60, "C": 0.25},
    "Fen": {"A": 0.70, "B": 0.45, "C": 0.15},
    "Moor": {"A": 0.60, "B": 0.30, "C": 0.10},
    "Dune": {"A": 0.80, "B": 0.55, "C": 0.30},
    "Brook": {"A": 0.75, "B": 0.40, "C": 0.20},
}
LOGGED_SHARE = {"Heath": 0.97, "Fen": 0.96, "Moor": 0.60, "Dune": 0.98, "Brook": 0.95}
CENTRE_WITHOUT_SPEEDS = "Fen"
TAKES_ON = {"op01": 0.45, "op14": 0.45}  # the busy ones, and the share of their colleagues' patients that is theirs
SILENT_OPERATOR, SILENT_YEAR, SILENT_EXPECTED = "op09", 2024, 6  # sends nothing though so many cases were expected
CENTRE_STOPS_PROBING, STOPS_PROBING_IN = "Dune", 2023
AUDITED_YEARS = (2023, 2024)
READS_GAUGES = ("Heath", "Brook")  # centres that write down what they read on the gauge
READING_SD_MM, READING_STEP_MM = 0.15, 0.1  # error of a reading, and the fineness that it is written with

# ── What they drilled with ──────────────────────────────────────────────────────────────────────────────────
# With the platform at the crest the guide holds a 12.5 mm drill once the hole is more than 0.5 mm deep, and a
# 16 mm drill once it is more than 4 mm deep.
GUIDE_SHANK_MM = 12.0
INSTRUMENTS = pd.DataFrame(
    [
        ("guided_pilot_short", "pilot", "guided", 2.1, 9.0, GUIDE_SHANK_MM),
        ("guided_pilot_middle", "pilot", "guided", 2.1, 12.5, GUIDE_SHANK_MM),
        ("guided_pilot_long", "pilot", "guided", 2.1, 16.0, GUIDE_SHANK_MM),
        ("guided_widening_short", "widening", "guided", 3.1, 9.0, GUIDE_SHANK_MM),
        ("guided_widening_middle", "widening", "guided", 3.1, 12.5, GUIDE_SHANK_MM),
        ("guided_osteotome", "osteotome", "guided", 3.1, 12.5, GUIDE_SHANK_MM),
        ("guided_gauge_short", "gauge", "guided", 2.0, 9.0, np.nan),
        ("guided_gauge_middle", "gauge", "guided", 2.0, 12.5, np.nan),
        ("guided_gauge_long", "gauge", "guided", 2.0, 16.0, np.nan),
        ("hand_pilot_short", "pilot", "freehand", 2.0, 13.0, np.nan),
        ("hand_pilot_long", "pilot", "freehand", 2.0, 17.0, np.nan),
        ("hand_widening_short", "widening", "freehand", 3.0, 13.0, np.nan),
        ("hand_widening_long", "widening", "freehand", 3.0, 17.0, np.nan),
        ("hand_osteotome", "osteotome", "freehand", 2.8, 13.0, np.nan),
        ("hand_gauge_short", "gauge", "freehand", 1.9, 13.0, np.nan),
        ("hand_gauge_long", "gauge", "freehand", 1.9, 17.0, np.nan),
    ],
    columns=["instrument_id", "role", "approach", "diameter_mm", "length_mm", "guide_shank_mm"],
)
STOPS = pd.DataFrame(
    [(f"takes_{m:g}".replace(".", "_"), m, "length", np.nan) for m in np.arange(0.5, 10.0)]
    + [
        (f"leaves_{m:g}_of_{length:g}".replace(".", "_"), m, "depth", length)
        for length, markings in ((12.5, np.arange(2.5, 7.0)), (13.0, np.arange(1.5, 12.0)))
        for m in markings
    ],
    columns=["stop_id", "marking_mm", "marking_means", "marked_on_length_mm"],
)
MARGIN_MM, STEP_MM, SPEED_LIMIT_RPM = 1.0, 1.0, 800

# How often an experienced operator slips, a site; beginners slip more than twice as often.
SLIPS = {
    "first_too_deep": 0.03,
    "advance_too_large": 0.05,
    "unguided_start": 0.10,
    "not_probed": 0.06,
    "probe_mismatch": 0.03,
    "drilled_after_open": 0.05,
    "overdrilled": 0.012,
    "speed_high": 0.05,
    "intended_missed": 0.02,
    "length_stop_misread": 0.03,
    "depth_stop_misread": 0.03,
}

STUDY = """\
# A made-up study: nothing in it describes a real person, clinic or product. make_series.py wrote this folder.
study:
  id: five_centres
  title: Crestal sinus floor lifts at five invented centres, 2018 to 2024
  question: >-
    In crestal sinus floor lifts at five centres, how often is the sinus membrane perforated, and is that associated
    with residual bone height? Was drilling done as planned? How long do the implants stay, what goes with their
    failure, and how much bone is gained and kept? (Three protocols were in use. A: gauged drilling, lift by fluid.
    B: gauged drilling, lift by packed graft. C: drilling short of the sinus floor, the last steps and the lift by
    osteotome.) Do the protocols differ in these, and does any operator or centre lie apart from the others?
  data_until: 2025-12
purpose: [publication, comparison, audit]  # three reports from the same tables and models
tables:
  patients:
    [heath_patients.csv, fen_patients.csv, moor_patients.csv, dune.xlsx#patients, brook_patients.parquet]
  sites:
    [heath_sites.csv, fen_sites.csv, moor_sites.csv, dune.xlsx#sites, brook_sites.parquet]
  steps:
    [heath_steps.csv, fen_steps.csv, moor_steps.csv, dune.xlsx#steps, brook_steps.parquet]
  visits:
    [heath_visits.csv, fen_visits.csv, moor_visits.csv, dune.xlsx#visits, brook_visits.parquet]
  instruments: instruments.csv
  stops: stops.csv
plan:
  perforation_terms: [rbh_mid_mm, floor_slope_deg, approach, protrusion_mm, septum]
  survival_terms: [rbh_mid_mm, smoking]
  gain_terms: [protrusion_mm, graft, months]
  comparison:
    groups: protocol
    reference: A
    adjust_for: [rbh_mid_mm, floor_slope_deg, smoking, septum]
    margin: 0.05
  audit:
    by: operator
    period: [{period}]
    expected:
{expected}
extra_columns:
  sites:
    flapless:
      type: category
      levels: ["no", "yes"]
      description: The implant was placed without raising a flap.
"""


def stream(chapter: str) -> np.random.Generator:
    """Random numbers of one chapter, so that a change in one leaves the others as they were."""
    return np.random.default_rng([SEED, *chapter.encode()])


def some_missing(rng: np.random.Generator, values: pd.Series, share: float, hidden=None) -> pd.Series:
    """The values with a share of them hidden at random."""
    return values.mask(rng.random(len(values)) < share, hidden)


def tied_uniforms(rng: np.random.Generator, patient: np.ndarray, correlation: float) -> np.ndarray:
    """A uniform number a site, tied within the patient by a Gaussian copula; `patient` counts from 0."""
    shared = rng.standard_normal(patient.max() + 1)[patient]
    own = rng.standard_normal(patient.size)
    return norm.cdf(np.sqrt(correlation) * shared + np.sqrt(1 - correlation) * own)


# ── Patients and sites ──────────────────────────────────────────────────────────────────────────────────────
def draw_patients() -> pd.DataFrame:
    """One row a patient; also when surgery was and what ends the follow-up, which only this script knows."""
    rng = stream("patients")
    patients = pd.DataFrame({"centre": rng.choice(CENTRES, N_PATIENTS, p=CENTRE_SHARE)})
    patients["centre"] = pd.Categorical(patients["centre"], CENTRES, ordered=True)
    patients = patients.sort_values("centre", kind="stable").astype({"centre": str}).reset_index(drop=True)
    number = patients.groupby("centre").cumcount() + 1
    patients.insert(0, "patient_id", patients["centre"].str.lower() + "-" + number.astype(str).str.zfill(3))
    patients["age_years"] = np.clip(np.round(rng.normal(57, 11, N_PATIENTS)), 23, 86).astype(int)
    patients["sex"] = rng.choice(["female", "male", "other", "unknown"], N_PATIENTS, p=[0.52, 0.47, 0.005, 0.005])
    patients["smoking"] = rng.choice(["never", "former", "current"], N_PATIENTS, p=[0.55, 0.25, 0.20])
    patients["diabetes"] = rng.choice(["no", "yes", "unknown"], N_PATIENTS, p=[0.90, 0.08, 0.02])
    patients["periodontitis"] = rng.choice(["no", "yes", "unknown"], N_PATIENTS, p=[0.63, 0.33, 0.04])

    patients["surgery"] = rng.uniform(2018, 2025, N_PATIENTS)
    patients["dropout"] = patients["surgery"] + rng.exponential(25, N_PATIENTS)
    never_back = rng.random(N_PATIENTS) < 0.015
    patients.loc[never_back, "dropout"] = patients["surgery"]
    dies = rng.random(N_PATIENTS) < 0.085
    patients["death"] = np.where(dies, patients["surgery"] + rng.uniform(2.5, 8, N_PATIENTS), np.inf)
    return patients


def draw_sites(patients: pd.DataFrame) -> pd.DataFrame:
    """One row a site as planned and treated, without the outcomes."""
    rng = stream("sites")
    n_of_patient = rng.choice([1, 2, 3, 4], N_PATIENTS, p=[0.60, 0.29, 0.08, 0.03])
    patient = np.repeat(np.arange(N_PATIENTS), n_of_patient)
    sites = pd.DataFrame({"patient": patient, "patient_id": patients["patient_id"].to_numpy()[patient]})
    n_sites = len(sites)
    teeth, often = [14, 15, 16, 17, 18, 24, 25, 26, 27, 28], [5, 14, 22, 10, 1, 5, 14, 20, 8, 1]
    sites["tooth"] = np.concatenate(
        [np.sort(rng.choice(teeth, n, replace=False, p=np.divide(often, 100))) for n in n_of_patient]
    )
    sites["site_id"] = sites["patient_id"] + "-" + sites["tooth"].astype(str)

    of_patient = patients.iloc[patient].reset_index(drop=True)
    sites["centre"] = of_patient["centre"]
    operator = [rng.choice(OPERATORS[centre]) for centre in patients["centre"]]
    # Some sites of a patient are treated in a second session; none after the last year of the study.
    later = of_patient["surgery"] + rng.uniform(0.3, 1.5, n_sites)
    second = (sites.groupby("patient").cumcount() > 0) & (rng.random(n_sites) < 0.15) & (later < 2025)
    sites["surgery"] = of_patient["surgery"].mask(second, later)
    sites["surgery_year"] = sites["surgery"].astype(int)
    sites["operator"] = share_out(sites, np.array(operator))
    everyone = [operator for team in OPERATORS.values() for operator in team]
    cases_before = dict(zip(everyone, rng.integers(0, 45, len(everyone)), strict=True)) | {IMPROVER: 0}
    order = sites.sort_values(["surgery", "site_id"]).groupby("operator").cumcount() + 1
    sites["operator_case_no"] = order.sort_index() + sites["operator"].map(cases_before)

    sites["protocol"] = [rng.choice(list("ABC"), p=PROTOCOL_SHARE[centre]) for centre in sites["centre"]]
    share = [GUIDED_SHARE[c][p] for c, p in zip(sites["centre"], sites["protocol"], strict=True)]
    guided = rng.random(n_sites) < share
    sites["approach"] = np.where(guided, "guided", "freehand")

    sites["rbh_min_mm"] = np.round(1.5 + 6.5 * rng.beta(2.6, 3.4, n_sites), 1)
    sites["rbh_max_mm"] = np.round(sites["rbh_min_mm"] + 3.0 * rng.beta(1.3, 2.2, n_sites), 1)
    sites["soft_tissue_mm"] = np.round(rng.uniform(1.2, 4.2, n_sites), 1)
    sites["ridge_width_mm"] = np.round(rng.normal(8.2, 1.3, n_sites).clip(5), 1)
    sites["sinus_width_mm"] = np.round(rng.normal(13.5, 2.6, n_sites).clip(7), 1)
    sites["membrane_mm"] = np.round(rng.lognormal(0.0, 0.45, n_sites), 1)
    for column, share in (
        ("soft_tissue_mm", 0.12),
        ("ridge_width_mm", 0.05),
        ("sinus_width_mm", 0.08),
        ("membrane_mm", 0.15),
    ):
        sites[column] = some_missing(rng, sites[column], share)
    sites["septum"] = rng.choice(["no", "yes", "unknown"], n_sites, p=[0.83, 0.14, 0.03])
    sites["implant_diameter_mm"] = rng.choice([3.6, 4.2, 4.8], n_sites, p=[0.2, 0.5, 0.3])
    sites["platform_depth_mm"] = rng.choice([-0.5, 0.0, 0.5, 1.0], n_sites, p=[0.1, 0.3, 0.4, 0.2])
    middle = sites["rbh_min_mm"] / 2 + sites["rbh_max_mm"] / 2
    wanted = middle - sites["platform_depth_mm"] + rng.uniform(1.2, 5.6, n_sites)
    lengths = np.array([6.5, 8.0, 9.5, 11.0])
    sites["implant_length_mm"] = lengths[np.abs(wanted.to_numpy()[:, None] - lengths).argmin(axis=1)]
    sites["guide_offset_mm"] = np.where(guided, rng.choice([9.0, 11.0], n_sites, p=[0.6, 0.4]), np.nan)

    grafts = ["none", "autogenous", "xenograft", "alloplast", "blood_concentrate"]
    graft_share = {
        "A": [0.30, 0.05, 0.35, 0.15, 0.15],
        "B": [0.00, 0.15, 0.50, 0.25, 0.10],
        "C": [0.45, 0.10, 0.20, 0.10, 0.15],
    }
    sites["graft"] = [rng.choice(grafts, p=graft_share[protocol]) for protocol in sites["protocol"]]
    sites["flapless"] = np.where(rng.random(n_sites) < np.where(guided, 0.45, 0.10), "yes", "no")
    sites["lift_method"] = sites["protocol"].map({"A": "fluid", "B": "graft_packing", "C": "osteotome"})
    sites["lift_method"] = some_missing(rng, sites["lift_method"], 0.02)
    sites["bone_quality"] = pd.array(rng.choice([1, 2, 3, 4], n_sites, p=[0.03, 0.27, 0.45, 0.25]), "Int64")
    return sites


def share_out(sites: pd.DataFrame, operator: np.ndarray) -> np.ndarray:
    """Each site's operator: the busy take on patients of their colleagues, who have the silent one's of that year."""
    rng = stream("operators")
    team_of = {member: team for team in OPERATORS.values() for member in team}
    for busy, share in TAKES_ON.items():
        operator = np.where(np.isin(operator, team_of[busy]) & (rng.random(N_PATIENTS) < share), busy, operator)
    in_that_year = np.isin(np.arange(N_PATIENTS), sites.loc[sites["surgery_year"].eq(SILENT_YEAR), "patient"])
    colleagues = [member for member in team_of[SILENT_OPERATOR] if member != SILENT_OPERATOR]
    instead = rng.choice(colleagues, N_PATIENTS)
    return np.where((operator == SILENT_OPERATOR) & in_that_year, instead, operator)[sites["patient"]]


def expected_cases(sites: pd.DataFrame) -> dict[str, dict[int, int]]:
    """Cases that each operator should have sent in the audited years: here and there one more than were sent."""
    rng = stream("expected")
    sent = pd.crosstab(sites["operator"], sites["surgery_year"])[list(AUDITED_YEARS)]
    expected = sent + rng.poisson(0.4, sent.shape)
    expected.loc[SILENT_OPERATOR, SILENT_YEAR] = SILENT_EXPECTED
    return expected.T.to_dict()


def rbh_mid_mm(sites: pd.DataFrame) -> pd.Series:
    """Middle residual bone height."""
    return (sites["rbh_min_mm"] + sites["rbh_max_mm"]) / 2


def floor_slope_deg(sites: pd.DataFrame) -> pd.Series:
    """Slope of the sinus floor over the implant's footprint."""
    return np.degrees(np.arctan((sites["rbh_max_mm"] - sites["rbh_min_mm"]) / sites["implant_diameter_mm"]))


def protrusion_mm(sites: pd.DataFrame) -> pd.Series:
    """How far the planned implant stands into the sinus."""
    return sites["platform_depth_mm"] + sites["implant_length_mm"] - rbh_mid_mm(sites)


# ── Perforation ─────────────────────────────────────────────────────────────────────────────────────────────
def operator_log_odds(sites: pd.DataFrame) -> pd.Series:
    """What the operator adds to the log odds of a perforation: one twice the odds, one a start that wears off."""
    learning = np.log(FIRST_CASE_ODDS) * np.exp(-(sites["operator_case_no"] - 1) / LEARNING_CASES)
    constant = np.log(sites["operator"].map(ODDS_OF_OPERATOR).fillna(1.0))
    return constant + learning.where(sites["operator"].eq(IMPROVER), 0.0)


def perforation_risk(sites: pd.DataFrame, by_operator: bool = True) -> pd.Series:
    """Each site's true risk of a perforation; or what it would be with an operator like the other twelve."""
    log_odds = (
        PERFORATION["(intercept)"]
        + PERFORATION["rbh_mid_mm"] * rbh_mid_mm(sites)
        + PERFORATION["floor_slope_deg"] * floor_slope_deg(sites)
        + PERFORATION["approach[guided]"] * sites["approach"].eq("guided")
        + PERFORATION["protrusion_mm"] * protrusion_mm(sites)
        + (operator_log_odds(sites) if by_operator else 0.0)
    )
    return 1 / (1 + np.exp(-log_odds))


def draw_perforations(sites: pd.DataFrame) -> pd.DataFrame:
    """The tear, how it was looked for, and whether an implant was placed all the same."""
    rng = stream("perforation")
    n_sites = len(sites)
    torn = tied_uniforms(rng, sites["patient"].to_numpy(), PERFORATION_COPULA) < perforation_risk(sites)
    unknown = rng.random(n_sites) < 0.03
    sites["perforation"] = np.where(unknown, "unknown", np.where(torn, "yes", "no"))
    looked = ["valsalva", "endoscopy", "probe", "radiograph", "mixed"]
    test = rng.choice(looked, n_sites, p=[0.50, 0.10, 0.22, 0.08, 0.10])
    sites["perforation_test"] = np.where(unknown, "none", test)
    # Giving up after a tear hides no failure that would have looked any different: the two are drawn apart.
    given_up = rng.random(n_sites) < np.where(torn, 0.12, 0.008)
    staged = rng.random(n_sites) < np.where(rbh_mid_mm(sites) < 3.5, 0.22, 0.05)
    placement = np.where(given_up, "none", np.where(staged, "staged", "same_day"))
    sites["placement"] = pd.Series(placement).mask((placement == "same_day") & sites["centre"].eq("Heath"))
    return sites


def draw_stages(sites: pd.DataFrame, deviates: pd.Series) -> pd.DataFrame:
    """When a tear was noticed, and its size; `deviates`: the log shows that the drill went astray.

    Only when the tear shows hangs on the drilling. Whether there is one does not, else the coefficients that
    it was drawn from would not be the truth.
    """
    rng = stream("stages")
    n_sites = len(sites)
    stages = ["drilling", "lifting", "grafting", "placing", "unknown"]
    usual, after_deviation = [0.25, 0.38, 0.12, 0.17, 0.08], [0.65, 0.20, 0.05, 0.05, 0.05]
    stage = np.where(deviates, rng.choice(stages, n_sites, p=after_deviation), rng.choice(stages, n_sites, p=usual))
    stage = np.where((stage == "grafting") & sites["graft"].eq("none"), "lifting", stage)
    seen_torn = sites["perforation"].eq("yes")
    sites["perforation_stage"] = pd.Series(stage).where(seen_torn)
    size = pd.Series(np.round(rng.lognormal(0.7, 0.5, n_sites), 1))
    sites["perforation_mm"] = some_missing(rng, size, 0.25).where(seen_torn)
    return sites


def draw_surgery(sites: pd.DataFrame) -> pd.DataFrame:
    """What else was noted at surgery; needs the placement."""
    rng = stream("surgery")
    n_sites = len(sites)
    lift, placed = protrusion_mm(sites), sites["placement"].ne("none")
    dome_ml = np.pi * lift * (3 * 5.0**2 + lift**2) / 6 / 1000
    fluid = pd.Series(np.round(dome_ml * rng.lognormal(0.6, 0.2, n_sites), 2))
    sites["fluid_ml"] = some_missing(rng, fluid, 0.06).where(sites["protocol"].eq("A"))
    graft = pd.Series(np.round(dome_ml * rng.lognormal(0.2, 0.25, n_sites) + 0.1, 2))
    sites["graft_ml"] = some_missing(rng, graft, 0.06).where(sites["graft"].ne("none"), 0.0)
    torque = 42 - 4 * sites["bone_quality"].astype(float) + 1.6 * rbh_mid_mm(sites) + rng.normal(0, 5, n_sites)
    sites["torque_ncm"] = some_missing(rng, np.round(torque.clip(5) / 5) * 5, 0.10).where(placed)
    isq = 60 - 1.5 * sites["bone_quality"].astype(float) + 1.2 * rbh_mid_mm(sites) + rng.normal(0, 4, n_sites)
    sites["isq"] = some_missing(rng, np.round(isq).clip(35, 85), 0.35).where(placed)
    healing = rng.choice(["submerged", "transmucosal"], n_sites, p=[0.6, 0.4])
    sites["healing"] = pd.Series(healing).where(placed)
    height = np.round(rbh_mid_mm(sites) + lift + rng.normal(0.3, 0.4, n_sites), 1)
    sites["bone_height_post_mm"] = some_missing(rng, height, 0.08).where(placed)
    sites["bone_quality"] = some_missing(rng, sites["bone_quality"], 0.06, pd.NA)
    return sites


def draw_afterwards(sites: pd.DataFrame, patients: pd.DataFrame) -> pd.DataFrame:
    """What was done about a tear, and when the implant was loaded; hangs on nothing else and moves nothing else."""
    rng = stream("afterwards")
    n_sites = len(sites)
    ways = ["none", "membrane", "suture", "other"]
    way = pd.Series(rng.choice(ways, n_sites, p=[0.27, 0.55, 0.10, 0.08]))
    way = way.mask(sites["placement"].eq("staged") & (rng.random(n_sites) < 0.6), "delayed")
    way = way.mask(sites["placement"].eq("none"), "abandoned")
    sites["perforation_management"] = some_missing(rng, way, 0.06).where(sites["perforation"].eq("yes"))
    usual = np.where(sites["healing"].eq("submerged"), 6.2, 4.4)
    months = pd.Series(np.round(usual * rng.lognormal(0.0, 0.18, n_sites), 1))
    # An implant that failed before its day of loading was never loaded.
    loaded = sites["placement"].ne("none") & (months < draw_failures(sites, patients))
    sites["loading_months"] = some_missing(rng, months, 0.12).where(loaded)
    return sites


# ── The drilling log ────────────────────────────────────────────────────────────────────────────────────────
def settings(approach: str) -> pd.DataFrame:
    """Each instrument of an approach, bare and with each stop that fits it, and how far its tip then goes.

    `misread_mm`: how far it would go if the marking had its other meaning.
    """
    bare = INSTRUMENTS[INSTRUMENTS["approach"] == approach]
    stopped = bare.merge(STOPS, how="cross")
    by_depth = stopped["marking_means"] == "depth"
    taken = stopped["marking_mm"].where(~by_depth, stopped["marked_on_length_mm"] - stopped["marking_mm"])
    fits = (taken < stopped["length_mm"]) & (~by_depth | (stopped["marked_on_length_mm"] == stopped["length_mm"]))
    stopped["travel_mm"] = stopped["length_mm"] - taken
    stopped["misread_mm"] = stopped["marking_mm"].where(~by_depth, stopped["length_mm"] - stopped["marking_mm"])
    return pd.concat([bare.assign(travel_mm=bare["length_mm"]), stopped[fits]], ignore_index=True)


SETTINGS = {approach: settings(approach) for approach in ("guided", "freehand")}


def ladder_mm(reachable_mm: np.ndarray, first_at_most_mm: float, up_to_mm: float) -> list[float]:
    """The planned rungs; where there is no first rung, from the shallowest depth that can be reached."""
    short_enough = reachable_mm[reachable_mm <= first_at_most_mm + 1e-9]
    rungs = [short_enough[-1] if short_enough.size else reachable_mm[0]]
    while rungs[-1] < up_to_mm - 1e-9:
        rungs.append(next_rung_mm(reachable_mm, rungs[-1]))
    return rungs


def next_rung_mm(reachable_mm: np.ndarray, rung_mm: float) -> float:
    """The deepest reachable depth within a step of this one."""
    return reachable_mm[reachable_mm <= rung_mm + STEP_MM + 1e-9][-1]


class Drilling:
    """One site being drilled: the hole so far, and the log as it is written. Depths in mm below the crest."""

    def __init__(self, site, rng: np.random.Generator):
        self.rng, self.site = rng, site
        self.guided = site.approach == "guided"
        self.probes = site.centre != CENTRE_STOPS_PROBING or site.surgery_year < STOPS_PROBING_IN
        self.platform = site.platform_depth_mm if self.guided else 0.0
        table = SETTINGS[site.approach]
        depth = table["travel_mm"] + self.platform
        # Of the ways to reach a depth the shortest instrument is taken, and of its stops one marked with its
        # own length before one marked with a depth; at a third of the sites it is the other way round.
        likes_depth_stops = rng.random() < 0.35
        stop_rank = table["marking_means"].eq("length") == likes_depth_stops
        self.settings = (
            table.assign(depth_mm=depth, rank=stop_rank).query("depth_mm > 0").sort_values(["length_mm", "rank"])
        )
        drills = self.settings[self.settings["role"] != "gauge"]
        self.reachable = np.unique(drills["depth_mm"])
        self.hole, self.open, self.log = 0.0, False, []
        # Where the tip breaks through lies somewhere over the sloping footprint, and the scan errs a little.
        slope_mm = site.rbh_max_mm - site.rbh_min_mm
        middle = (site.rbh_min_mm + site.rbh_max_mm) / 2
        self.floor = middle + slope_mm * rng.uniform(-0.4, 0.4) + rng.normal(0, 0.3)

    def held(self, setting) -> bool:
        """Whether the guide steers the drill when its tip meets bone."""
        return not self.guided or setting.guide_shank_mm + self.hole - setting.length_mm - self.platform > 0

    def ways(self, role: str, depth_mm: float) -> pd.DataFrame:
        """Settings of a role that reach exactly this depth, the usual one first."""
        reaching = (self.settings["role"] == role) & np.isclose(self.settings["depth_mm"], depth_mm)
        return self.settings[reaching]

    def make_pass(self, setting, intended_mm: float, finding: str) -> None:
        """Write the pass down; a drill deepens the hole."""
        drill = setting.role in ("pilot", "widening")
        speed = self.rng.choice([500, 600, 700, 800] if setting.role == "pilot" else [300, 400, 500])
        recorded = self.rng.random() < 0.94
        self.log.append(
            {
                "site_id": self.site.site_id,
                "step_no": len(self.log) + 1,
                "instrument_id": setting.instrument_id,
                "stop_id": setting.stop_id,
                "intended_depth_mm": intended_mm if recorded else np.nan,
                "speed_rpm": float(speed) if drill and self.rng.random() < 0.95 else np.nan,
                "finding": finding,
            }
        )
        if setting.role != "gauge":
            self.hole = max(self.hole, setting.depth_mm)
        self.open |= finding == "open"

    def drill(self, setting, intended_mm: float) -> None:
        """A drill pass; now and then the drill itself is felt to drop through."""
        through = self.probes and max(self.hole, setting.depth_mm) >= self.floor
        self.make_pass(setting, intended_mm, "open" if through and self.rng.random() < 0.2 else "not_tested")

    def probe(self, depth_mm: float) -> None:
        """A gauge pass meant for this depth, where anyone probes."""
        gauges = self.ways("gauge", depth_mm)
        if self.probes and len(gauges):
            through = self.hole >= self.floor and depth_mm >= self.floor
            felt = self.rng.choice(["open" if through else "closed", "not_tested"], p=[0.97, 0.03])
            self.make_pass(gauges.iloc[0], depth_mm, felt)

    def open_for(self, setting, depth_mm: float) -> None:
        """Drill shorter first until the guide holds this drill."""
        while not self.held(setting):
            pilots = self.settings[(self.settings["role"] == "pilot") & (self.settings["depth_mm"] > self.hole)]
            able = [
                way
                for way in pilots.itertuples()
                if way.depth_mm <= depth_mm and way.length_mm < setting.length_mm and self.held(way)
            ]
            if not able:
                return
            opener = max(able, key=lambda way: way.depth_mm)
            self.drill(opener, opener.depth_mm)

    def widen(self) -> None:
        """Widen the hole to its depth, with the shortest drill that is held."""
        wideners = [way for way in self.ways("widening", self.hole).itertuples() if self.held(way)]
        if wideners:
            self.drill(wideners[0], self.hole)


def drill_site(site, rng: np.random.Generator) -> list[dict]:
    """The log of one site: the planned ladder with a gauge after every rung, and what went wrong with it."""
    work = Drilling(site, rng)
    rungs = ladder_mm(work.reachable, site.rbh_min_mm - MARGIN_MM, site.rbh_max_mm)
    beginner = 1 + 1.5 * np.exp(-(site.operator_case_no - 1) / 20)
    slips = {  # and the number of the rung that each happens on
        name: int(rng.integers(0, max(len(rungs) - 1, 1)))
        for name, share in SLIPS.items()
        if rng.random() < beginner * share
    }
    if "first_too_deep" in slips:
        too_deep = max(site.rbh_min_mm - MARGIN_MM, rungs[0] + 0.9)
        rungs = [rung for rung in rungs if rung > too_deep] or rungs
    if "advance_too_large" in slips and len(rungs) > 2:
        del rungs[rng.integers(1, len(rungs) - 1)]
    if "overdrilled" in slips:
        beyond = work.reachable[work.reachable > site.rbh_max_mm + STEP_MM + 0.1]
        rungs[-1] = beyond[rng.integers(0, 2)]
    if site.placement == "none":
        rungs = rungs[: rng.integers(1, 3)]  # given up on the way

    for number, rung in enumerate(rungs):  # which may grow as it is climbed
        if rung < work.hole + 0.01:
            continue
        drill_rung(work, rung, number, slips)
        probe_rung(work, number, slips)
        is_last = number + 1 == len(rungs)
        further = next_rung_mm(work.reachable, work.hole)
        if work.open and slips.pop("drilled_after_open", None) is None:
            break
        if is_last and work.open:
            rungs.append(further)
        elif is_last and site.placement != "none" and further <= site.rbh_max_mm + STEP_MM:
            rungs.extend([further] if rng.random() < 0.5 else [])
    if site.protocol != "C" and site.placement != "none":
        work.widen()

    if "speed_high" in slips:
        first_spun = next((row for row in work.log if row["speed_rpm"] > 0), {})
        first_spun["speed_rpm"] = float(rng.choice([1000, 1200]))
    return work.log


def drill_rung(work: Drilling, rung_mm: float, number: int, slips: dict[str, int]) -> None:
    """Drill one rung with the shortest pilot drill that reaches it, or what was taken for it."""
    chosen = work.ways("pilot", rung_mm).iloc[0]
    osteotomes = work.ways("osteotome", rung_mm)
    if work.site.protocol == "C" and rung_mm > work.site.rbh_min_mm - 0.5 and len(osteotomes):
        chosen = osteotomes.iloc[0]

    if "unguided_start" in slips and number == 0:
        chosen = work.ways("pilot", rung_mm).iloc[-1]  # the longest one, with no hole to hold it
    else:
        work.open_for(chosen, rung_mm)

    wrong = wrong_ways(work, chosen, rung_mm, number, slips)
    if len(wrong):
        work.drill(wrong.iloc[work.rng.integers(len(wrong))], rung_mm)
    if work.hole < rung_mm - 0.01:  # also after a wrong stop that held the drill back, which is soon noticed
        work.drill(chosen, rung_mm)


def wrong_ways(work: Drilling, chosen, rung_mm: float, number: int, slips: dict[str, int]) -> pd.DataFrame:
    """What the operator may have put in by mistake for this rung; mostly nothing."""
    same_role = work.settings[work.settings["role"] == chosen.role]
    off_mm = (same_role["depth_mm"] - rung_mm).abs()
    if slips.get("intended_missed") == number:  # the stop beside the right one
        return same_role[np.isclose(off_mm, 1.0) & (same_role["length_mm"] == chosen.length_mm)]
    for means in ("length", "depth"):
        if number >= slips.get(f"{means}_stop_misread", 99):
            # Who reads a length stop as a depth expects that very number below the crest.
            expected = same_role["misread_mm"] + (0.0 if means == "length" else work.platform)
            misread = same_role["marking_means"].eq(means) & np.isclose(expected, rung_mm)
            misread &= (off_mm > 0.1) & (off_mm < 4.1)
            if misread.any():
                del slips[f"{means}_stop_misread"]
                return same_role[misread]
    return same_role.iloc[:0]


def probe_rung(work: Drilling, number: int, slips: dict[str, int]) -> None:
    """Feel for the floor after a rung; in protocol C the first rung is then widened for the osteotome."""
    if slips.get("not_probed") == number:
        return
    if slips.get("probe_mismatch") == number:
        work.probe(work.hole + work.rng.choice([-1.0, 1.0]))
        return
    work.probe(work.hole)
    if work.site.protocol == "C" and number == 0 and not work.open:
        work.widen()


def draw_steps(sites: pd.DataFrame) -> pd.DataFrame:
    """The drilling logs of the sites that have one."""
    rng = stream("steps")
    rows = []
    for site in sites.itertuples():
        if rng.random() < LOGGED_SHARE[site.centre]:
            rows += drill_site(site, rng)
    steps = pd.DataFrame(rows)
    no_speeds = steps["site_id"].map(sites.set_index("site_id")["centre"]).eq(CENTRE_WITHOUT_SPEEDS)
    steps["speed_rpm"] = steps["speed_rpm"].mask(no_speeds)
    return steps


def read_gauges(steps: pd.DataFrame, sites: pd.DataFrame) -> pd.DataFrame:
    """What was read on the gauge: the depth of the hole and a small error; some passes were not read.

    A gauge in an open sinus meets no floor, and nothing is read.
    """
    rng = stream("readings")
    table = pd.concat(SETTINGS.values())
    reached = table.set_index(["instrument_id", table["stop_id"].fillna("")])["travel_mm"]
    keys = pd.MultiIndex.from_arrays([steps["instrument_id"], steps["stop_id"].fillna("")])
    by_site = sites.set_index("site_id")
    platform = by_site["platform_depth_mm"].where(by_site["approach"].eq("guided"), 0.0)
    gauge = steps["instrument_id"].map(INSTRUMENTS.set_index("instrument_id")["role"]).eq("gauge")
    depth = (reached.loc[keys].to_numpy() + steps["site_id"].map(platform)).mask(gauge)
    hole = depth.groupby(steps["site_id"]).cummax().groupby(steps["site_id"]).ffill()
    error = rng.normal(0, READING_SD_MM, len(steps))
    reading = np.round((hole + error) / READING_STEP_MM) * READING_STEP_MM
    opened = steps["finding"].eq("open").groupby(steps["site_id"]).cumsum().gt(0)
    was_read = gauge & ~opened & steps["site_id"].map(by_site["centre"]).isin(READS_GAUGES)
    was_read &= rng.random(len(steps)) < 0.9
    return steps.assign(read_depth_mm=reading.round(1).where(was_read))


def drilled_astray(sites: pd.DataFrame, steps: pd.DataFrame) -> pd.Series:
    """Whether a site's log has a pass that missed the depth that was meant, or went far beyond the floor."""
    table = pd.concat(SETTINGS.values())
    reached = table.set_index(["instrument_id", table["stop_id"].fillna("")])["travel_mm"]
    keys = pd.MultiIndex.from_arrays([steps["instrument_id"], steps["stop_id"].fillna("")])
    platform = sites["platform_depth_mm"].where(sites["approach"].eq("guided"), 0.0)
    depth = reached.loc[keys].to_numpy() + steps["site_id"].map(dict(zip(sites["site_id"], platform, strict=True)))
    missed = (steps["intended_depth_mm"] - depth).abs() > 0.05
    deep = depth > steps["site_id"].map(sites.set_index("site_id")["rbh_max_mm"]) + STEP_MM
    return sites["site_id"].isin(steps.loc[missed | deep, "site_id"])


# ── Visits ──────────────────────────────────────────────────────────────────────────────────────────────────
def failure_log_hazard(sites: pd.DataFrame, patients: pd.DataFrame) -> np.ndarray:
    """Each site's true log hazard of failure, against bone height 0 and never smoking."""
    smoking = patients["smoking"].to_numpy()[sites["patient"]]
    return (
        FAILURE["rbh_mid_mm"] * rbh_mid_mm(sites).to_numpy()
        + FAILURE["smoking[former]"] * (smoking == "former")
        + FAILURE["smoking[current]"] * (smoking == "current")
    )


def survival(months: float, log_hazard: np.ndarray) -> np.ndarray:
    """True chance that an implant still stands after so many months."""
    return np.exp(-FAILURE_RATE * months**FAILURE_SHAPE * np.exp(log_hazard))


def draw_failures(sites: pd.DataFrame, patients: pd.DataFrame) -> np.ndarray:
    """Months from placement to failure, for every site as if it were followed for ever."""
    uniform = tied_uniforms(stream("failures"), sites["patient"].to_numpy(), FAILURE_COPULA)
    hazard = FAILURE_RATE * np.exp(failure_log_hazard(sites, patients))
    return (-np.log(uniform) / hazard) ** (1 / FAILURE_SHAPE)


def draw_gain(sites: pd.DataFrame) -> np.ndarray:
    """Bone gain of each site at month 0 without the scatter of single measurements, mm."""
    rng = stream("gain")
    patient_effect = rng.normal(0, GAIN_SD_MM["patient"], N_PATIENTS)[sites["patient"]]
    site_effect = rng.normal(0, GAIN_SD_MM["site"], len(sites))
    of_graft = sites["graft"].map(lambda graft: GAIN.get(f"graft[{graft}]", 0.0))
    mean = GAIN["(intercept)"] + GAIN["protrusion_mm"] * protrusion_mm(sites) + of_graft
    return mean.to_numpy() + patient_effect + site_effect


def draw_visits(sites: pd.DataFrame, patients: pd.DataFrame) -> pd.DataFrame:
    """The visits of every implant: a failure shows at the next visit that is kept, a death ends them."""
    rng = stream("visits")
    placed_at = sites["surgery"] + np.where(sites["placement"] == "staged", rng.uniform(5, 8, len(sites)), 0) / 12
    of_patient = patients.iloc[sites["patient"]].reset_index(drop=True)
    leaves = np.minimum(of_patient["dropout"], END_OF_FOLLOW_UP)
    death_months = np.round((of_patient["death"] - placed_at) * 12, 1).to_numpy()
    end_months = np.minimum((leaves - placed_at) * 12, death_months - 0.1).to_numpy()

    # A patient comes with all sites at once: how late, and whether at all, is the patient's.
    shape = (N_PATIENTS, len(VISIT_MONTHS))
    late = np.round(rng.normal(0, [0, 0.5, 0.7, 1, 1, 1.2, 1.2, 1.5], shape), 1)
    kept = rng.choice(["came", "absent", "not_examined"], shape, p=[0.93, 0.04, 0.03])
    kept[:, 0] = "came"
    months, kept = (late + VISIT_MONTHS)[sites["patient"]], kept[sites["patient"]]
    kept = np.where(months < end_months[:, None], kept, "absent")
    kept[sites["placement"] == "none"] = "absent"
    found_lost = (kept == "came") & (months >= draw_failures(sites, patients)[:, None])
    after_failure = found_lost.cumsum(axis=1) > found_lost

    site, visit = np.nonzero((kept != "absent") & ~after_failure)
    status = np.where(found_lost[site, visit], "failed", "functioning")
    status = np.where(kept[site, visit] == "not_examined", "not_examined", status)
    visits = pd.DataFrame({"site": site, "months": months[site, visit].round(1), "status": status})
    gain = draw_gain(sites)[site] + GAIN["months"] * visits["months"]
    scatter = rng.normal(0, GAIN_SD_MM["residual"], len(visits))
    visits["bone_height_mm"] = np.round(rbh_mid_mm(sites).to_numpy()[site] + gain + scatter, 1)
    crestal_loss = 0.2 + 0.12 * np.sqrt(visits["months"]) + rng.normal(0, 0.35, len(visits))
    visits["marginal_bone_mm"] = np.round(crestal_loss, 1)
    if visits["bone_height_mm"].min() < 0.5:
        raise ValueError("a bone height came near 0; cut off, it would bend the truth of the gain")
    for column in ("bone_height_mm", "marginal_bone_mm"):
        visits[column] = some_missing(rng, visits[column], 0.13).where(status == "functioning")
    visits["complication"] = draw_complications(rng, status, visit)

    died = sites["placement"].ne("none") & (of_patient["death"] < leaves)
    died &= ~found_lost.any(axis=1)
    deaths = pd.DataFrame({"site": np.flatnonzero(died), "months": death_months[died], "status": "patient_died"})
    visits = pd.concat([visits, deaths]).sort_values(["site", "months"], kind="stable")
    return visits.assign(site_id=sites["site_id"].to_numpy()[visits["site"]]).reset_index(drop=True)


def draw_complications(rng: np.random.Generator, status: np.ndarray, visit: np.ndarray) -> pd.Series:
    """The worst complication since the visit before; vertigo and bleeding only about surgery."""
    kinds = ["none", "infection", "sinusitis", "vertigo", "bleeding", "other"]
    early = rng.choice(kinds, status.size, p=[0.955, 0.008, 0.010, 0.008, 0.009, 0.010])
    later = rng.choice(kinds, status.size, p=[0.970, 0.008, 0.009, 0, 0, 0.013])
    with_failure = rng.choice(["none", "infection", "other"], status.size, p=[0.55, 0.35, 0.10])
    complication = np.where(status == "failed", with_failure, np.where(visit < 2, early, later))
    return pd.Series(complication).where(status != "not_examined")


# ── Writing ─────────────────────────────────────────────────────────────────────────────────────────────────
COLUMNS = {
    "patients": "patient_id centre age_years sex smoking diabetes periodontitis",
    "sites": """
        site_id patient_id operator operator_case_no surgery_year tooth approach protocol rbh_min_mm
        rbh_max_mm soft_tissue_mm ridge_width_mm sinus_width_mm membrane_mm septum implant_diameter_mm
        implant_length_mm platform_depth_mm guide_offset_mm fluid_ml graft_ml graft perforation
        perforation_test perforation_stage perforation_mm perforation_management lift_method bone_quality
        placement torque_ncm isq healing loading_months bone_height_post_mm flapless
    """,
    "steps": "site_id step_no instrument_id stop_id intended_depth_mm speed_rpm finding read_depth_mm",
    "visits": "site_id months status bone_height_mm marginal_bone_mm complication",
}


def write_csv(table: pd.DataFrame, name: str, sep=",", decimal=".", encoding="utf-8", lineterminator="\n") -> None:
    """One table as text."""
    table.to_csv(FOLDER / name, index=False, sep=sep, decimal=decimal, encoding=encoding, lineterminator=lineterminator)


def write_workbook(tables: dict[str, pd.DataFrame], name: str) -> None:
    """A sheet a table. The time of writing, which a workbook keeps in two places, is set to a fixed one."""
    raw = io.BytesIO()
    with pd.ExcelWriter(raw, engine="openpyxl") as book:
        for sheet, table in tables.items():
            table.to_excel(book, sheet_name=sheet, index=False)
    with zipfile.ZipFile(raw) as written, zipfile.ZipFile(FOLDER / name, "w", zipfile.ZIP_DEFLATED) as fixed:
        for entry in sorted(written.namelist()):
            content = written.read(entry)
            if entry == "docProps/core.xml":
                content = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", b"2026-01-01T00:00:00Z", content)
            fixed.writestr(zipfile.ZipInfo(entry, (2026, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)


def write_parquet(table: pd.DataFrame, name: str) -> None:
    """One table as Parquet, without the frame's own metadata."""
    import pyarrow
    import pyarrow.parquet

    arrow = pyarrow.Table.from_pandas(table, preserve_index=False).replace_schema_metadata(None)
    pyarrow.parquet.write_table(arrow, FOLDER / name, compression="zstd")


def write_tables(tables: dict[str, pd.DataFrame]) -> None:
    """Each centre's tables in its own format."""
    by_centre = {
        centre: {name: table.loc[table["of_centre"] == centre, COLUMNS[name].split()] for name, table in tables.items()}
        for centre in CENTRES
    }
    for centre in set(CENTRES) - set(READS_GAUGES):
        del by_centre[centre]["steps"]["read_depth_mm"]
    for name in tables:
        write_csv(by_centre["Heath"][name], f"heath_{name}.csv")
        # Two centres write a decimal comma, one of them with byte-order mark and CRLF.
        write_csv(by_centre["Fen"][name], f"fen_{name}.csv", ";", ",", "utf-8-sig", "\r\n")
        write_csv(by_centre["Moor"][name], f"moor_{name}.csv", ";", ",")
        write_parquet(by_centre["Brook"][name], f"brook_{name}.parquet")
    write_workbook(by_centre["Dune"], "dune.xlsx")
    write_csv(INSTRUMENTS, "instruments.csv")
    write_csv(STOPS, "stops.csv")


def truth_text(sites: pd.DataFrame, patients: pd.DataFrame) -> str:
    """truth.yaml: the coefficients under the names that results.csv gives them."""
    log_time = {"(intercept)": -np.log(FAILURE_RATE) / FAILURE_SHAPE}
    log_time |= {term: -value / FAILURE_SHAPE for term, value in FAILURE.items()}
    log_time["(log shape)"] = np.log(FAILURE_SHAPE)
    placed = sites["placement"].ne("none").to_numpy()
    log_hazard = failure_log_hazard(sites, patients)[placed]
    true_survival = {str(months): survival(months, log_hazard).mean() for months in (12, 36, 60)}

    def block(values: dict[str, float]) -> str:
        return "\n".join(f'    "{term}": {round(float(value), 6)}' for term, value in values.items())

    odds = marginal_log_odds(sites)
    return f"""\
# What make_series.py drew the series from, under the names of results.csv.
# A 95 % interval misses its value one time in twenty.
seed: {SEED}
estimates:
  # Log odds of a perforation at a site; the sites of a patient are tied by a Gaussian copula. Two operators
  # differ from the others (`scenario` below) and the model knows no operator: what it then estimates is the
  # logistic regression of the sites' true risks on its own terms, which stands here. What the sites were drawn
  # from, given the operator, stands under perforation_given_operator.
  perforation.gee: &odds
{block(odds)}
  perforation.firth: *odds
  perforation.imputed: *odds
  # The mean of the sites' risks, given their bone, floor, approach, lift and operator.
  perforation.rate:
{block({"rate": perforation_risk(sites).mean()})}
  # Log hazard of a failure at a site, tied alike. Dating it at the visit that found it moves this little.
  survival.cox: &hazards
{block(FAILURE)}
  survival.firth_cox: *hazards
  survival.imputed: *hazards
  # The same law on log time: cumulative hazard = (months / exp(linear predictor)) ** shape.
  survival.interval:
{block(log_time)}
  # mm
  gain.mixed:
{block(GAIN)}
# Log odds of a perforation with an operator like the other twelve.
perforation_given_operator:
{block(PERFORATION | {"septum[yes]": 0.0})}
# Standard deviations of gain.mixed, mm. Heights are rounded to 0.1 mm: the residual's becomes 0.401.
gain_sd_mm:
{block(GAIN_SD_MM)}
# Chance that an implant still stands, mean over those placed. survival.km dates a failure at the visit that
# found it, and so lies above.
true_survival:
{block(true_survival)}
# Correlation of two sites of a patient on the normal scale of the copula.
copula_correlation:
{block({"perforation": PERFORATION_COPULA, "failure": FAILURE_COPULA})}
{scenario_text(sites)}"""


def marginal_log_odds(sites: pd.DataFrame, **further: pd.Series) -> dict[str, float]:
    """What a logistic model that knows no operator estimates: its fit to the sites' true risks, by Newton's steps."""
    columns = further | {
        "(intercept)": np.ones(len(sites)),
        "rbh_mid_mm": rbh_mid_mm(sites),
        "floor_slope_deg": floor_slope_deg(sites),
        "approach[guided]": sites["approach"].eq("guided"),
        "protrusion_mm": protrusion_mm(sites),
        "septum[yes]": sites["septum"].eq("yes"),
    }
    known = sites["septum"].ne("unknown").to_numpy()
    x = np.column_stack([np.asarray(column, float) for column in columns.values()])[known]
    risk, log_odds = perforation_risk(sites).to_numpy()[known], np.zeros(len(columns))
    for _ in range(30):
        fitted = 1 / (1 + np.exp(-x @ log_odds))
        log_odds += np.linalg.solve((x.T * (fitted * (1 - fitted))) @ x, x.T @ (risk - fitted))
    return dict(zip(columns, log_odds, strict=True))


def scenario_text(sites: pd.DataFrame) -> str:
    """The part of truth.yaml that tells what was planted for an audit."""
    (outlier, odds), improver = *ODDS_OF_OPERATOR.items(), sites["operator"].eq(IMPROVER)
    theirs = sites["operator"].eq(outlier)
    risk, usual = perforation_risk(sites), perforation_risk(sites, by_operator=False)
    theirs_by_doubling = marginal_log_odds(sites[improver], doubling=np.log2(sites.loc[improver, "operator_case_no"]))
    excess = {case: FIRST_CASE_ODDS ** np.exp(-(case - 1) / LEARNING_CASES) for case in (1, 5, 10, 20, 40)}
    unprobed = sites["centre"].eq(CENTRE_STOPS_PROBING) & sites["surgery_year"].ge(STOPS_PROBING_IN)
    return f"""\
# What was planted for an audit. The other operators share one risk for sites alike, whatever their centre and year.
scenario:
  # Twice the odds of a perforation at every site, from the first case on. `expected_tears`: the sum of the true
  # risks; `expected_like_others`: of the risks that these very sites would have with another operator.
  twice_the_odds:
    operator: {outlier}
    odds_ratio: {odds}
    sites: {theirs.sum()}
    expected_tears: {risk[theirs].sum():.2f}
    expected_like_others: {usual[theirs].sum():.2f}
  # Odds against the others' by case number: {FIRST_CASE_ODDS:g} ** exp(-(case - 1) / {LEARNING_CASES}).
  improves:
    operator: {IMPROVER}
    sites: {improver.sum()}
    odds_ratio_at_case: {{{", ".join(f"{case}: {ratio:.3f}" for case, ratio in excess.items())}}}
    # Log odds of a tear for each doubling of the case number, fitted to the true risks beside the model's terms.
    log_odds_a_doubling: {theirs_by_doubling["doubling"]:.3f}
    expected_tears: {risk[improver].sum():.2f}
    expected_like_others: {usual[improver].sum():.2f}
  # From this surgery year on no log of the centre has a gauge pass or a finding.
  stops_probing:
    centre: {CENTRE_STOPS_PROBING}
    from_year: {STOPS_PROBING_IN}
    sites: {unprobed.sum()}
  # No site in this surgery year; `plan.audit.expected` has so many. Its centre and colleagues sent theirs.
  silent:
    operator: {SILENT_OPERATOR}
    year: {SILENT_YEAR}
    expected: {SILENT_EXPECTED}
  # What the committee's files tell of it: committee.py.
"""


def study_text(sites: pd.DataFrame) -> str:
    """study.yaml, with the cases that were expected of each operator."""
    expected = "\n".join(
        f"      {operator}: {{{', '.join(f'{year}: {n}' for year, n in of_year.items())}}}"
        for operator, of_year in expected_cases(sites).items()
    )
    period = ", ".join(map(str, AUDITED_YEARS))
    return STUDY.replace("{period}", period).replace("{expected}", expected)


def main() -> None:
    """Draw the series and write the folder."""
    patients = draw_patients()
    sites = draw_sites(patients)
    # The log needs to know which sites were given up, and the stage of a tear what the log shows.
    sites = draw_perforations(sites)
    steps = read_gauges(draw_steps(sites), sites)
    sites = draw_surgery(draw_stages(sites, drilled_astray(sites, steps)))
    visits = draw_visits(sites, patients)
    sites = draw_afterwards(sites, patients)

    # The outcomes followed the true smoking; the tables do not always know it.
    shown = patients.assign(smoking=some_missing(stream("smoking"), patients["smoking"], 0.04, "unknown"))
    centre_of_site = sites.set_index("site_id")["centre"]
    write_tables(
        {
            "patients": shown.assign(of_centre=shown["centre"]),
            "sites": sites.assign(of_centre=sites["centre"]),
            "steps": steps.assign(of_centre=steps["site_id"].map(centre_of_site)),
            "visits": visits.assign(of_centre=visits["site_id"].map(centre_of_site)),
        }
    )
    (FOLDER / "study.yaml").write_text(study_text(sites), encoding="utf-8", newline="\n")
    write_committee(FOLDER)
    (FOLDER / "truth.yaml").write_text(truth_text(sites, patients), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()

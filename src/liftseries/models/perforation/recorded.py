"""What was recorded of tears: when noticed, how large, how looked for, what was done, what followed, by case number.

Counts with their shares, patients as clusters. Torn and untorn sites are set side by side, not compared: whoever tore
had less bone, another surgeon or another lift.

**Learning is told by bands of the operator's case number.** A slope over the case number takes operators who began
before the study for the later cases of those who began in it, and with few tears it is ruled by the last cases of the
busiest. Bands say what was seen and how many operators reached them; the model that tells operators apart is for a
purpose that asks for it.
"""

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.models.shared.described import (
    METHOD,
    NOT_RECORDED,
    labels,
    levels_of,
    numbers,
    share_row,
    share_rows,
    statistic_rows,
)
from liftseries.models.shared.follow_up import with_implant
from liftseries.models.shared.gates import RATIO
from liftseries.models.shared.outcomes import PERFORATION_UNKNOWN, known_perforation
from liftseries.models.shared.results import Estimates, Fit, left_out_table, results_table

STAGE, SIZE, TEST = "perforation.stage", "perforation.size", "perforation.test"
MANAGEMENT, SEQUEL, LEARNING = "perforation.management", "perforation.sequel", "perforation.learning"
CASE_NUMBER = "operator_case_no"
CASE_BANDS = {"1 to 10": (1, 10), "11 to 20": (11, 20), "21 to 40": (21, 40), ">40": (41, np.inf)}  # first, last case
NO_TEAR = remark("no_tear_to_describe")
NO_IMPLANT, FAILURE, MONTHS = "no_implant", "failure", "months"
NO_COMPLICATION = "none"


def fit_perforation_recorded(cases: pd.DataFrame, implants: pd.DataFrame, visits: pd.DataFrame) -> Estimates:
    """Every share and size that describes tears.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it; columns that are not there were not recorded
    implants : as `follow_up` gives them
    visits : the contract's visits
    """
    torn = known_perforation(cases)[1]
    tears = cases.loc[torn]
    known_test, test_rows = by_test(cases)
    numbered, learning_rows = learning(cases)
    sizes = numbers(tears, "perforation_mm")
    rows = [
        *stages(tears),
        *statistic_rows((SIZE, "all", ""), sizes, tears["patient_id"].to_numpy(), "mm", largest=True),
        *test_rows,
        *managements(tears),
        *sequels(cases, implants, visits),
        *learning_rows,
    ]
    unknown = ~known_perforation(cases)[0]
    left_out = [
        left_out_table(SIZE, "all", [(remark("number_missing", column="perforation_mm"), np.isnan(sizes).sum())]),
        left_out_table(TEST, "all", [(PERFORATION_UNKNOWN, (unknown & known_test).sum())]),
        left_out_table(LEARNING, "all", [(PERFORATION_UNKNOWN, (unknown & numbered).sum())]),
    ]
    return Estimates(results_table(rows), pd.concat(left_out, ignore_index=True))


def stages(tears: pd.DataFrame) -> list[dict]:
    """Share of the tears noticed at each stage; a stage not recorded is `unknown`."""
    level = labels(tears, "perforation_stage")
    return share_rows(STAGE, levels_of("perforation_stage"), level, tears["patient_id"].to_numpy(), NO_TEAR)


def managements(tears: pd.DataFrame) -> list[dict]:
    """Share of the tears managed each way."""
    level = labels(tears, "perforation_management")
    terms = levels_of("perforation_management")
    return share_rows(MANAGEMENT, terms, level, tears["patient_id"].to_numpy(), NO_TEAR)


def by_test(cases: pd.DataFrame) -> tuple[np.ndarray, list[dict]]:
    """Which sites have their test recorded, shape (n,), and the share torn of those looked at by each test in use."""
    known, torn = known_perforation(cases)
    level, patient = labels(cases, "perforation_test"), cases["patient_id"].to_numpy()
    terms = levels_of("perforation_test")
    in_use = [term for term in terms if (known & (level == term)).any()]
    problem = "" if in_use else NOT_RECORDED
    rows = []
    for term in in_use or terms:
        used = known & (level == term)
        rows.append(share_row((TEST, "all", term), torn[used], patient[used], problem=problem))
    return level != "", rows


def sequels(cases: pd.DataFrame, implants: pd.DataFrame, visits: pd.DataFrame) -> list[dict]:
    """What came after a tear, and without one.

    Of torn sites (subset `perforation=yes`) and untorn ones (`perforation=no`): the share left without an implant, of
    the implants followed the share that failed, of the sites asked about complications the share that ever had each
    kind, and the median months followed.
    """
    counted_alone = remark("counts_alone")
    asked = ever_had(cases, visits)
    torn_of = dict(zip(cases["site_id"].astype(object), labels(cases, "perforation"), strict=True))
    followed_as = implants["site_id"].astype(object).map(torn_of).to_numpy(object)
    rows = []
    for level in ("yes", "no"):
        subset = f"perforation={level}"
        sites = cases.loc[labels(cases, "perforation") == level]
        followed = implants.loc[followed_as == level]
        patients = sites["patient_id"].to_numpy()
        problem = "" if len(sites) else NOT_RECORDED
        rows.append(share_row((SEQUEL, subset, NO_IMPLANT), ~with_implant(sites), patients, problem=problem))
        problem = "" if len(followed) else NOT_RECORDED
        failed, of_failed = followed["failed"].to_numpy(bool), followed["patient_id"].to_numpy()
        rows.append(share_row((SEQUEL, subset, FAILURE), failed, of_failed, note=counted_alone, problem=problem))
        here = asked.loc[asked["site_id"].map(torn_of).eq(level).to_numpy(bool)]
        problem = "" if len(here) else NOT_RECORDED
        for kind in kinds():
            had, of_had = here[kind].to_numpy(bool), here["patient_id"].to_numpy()
            rows.append(share_row((SEQUEL, subset, kind), had, of_had, note=counted_alone, problem=problem))
        rows.append(_months_row(subset, followed))
    return rows


def kinds() -> list[str]:
    """The kinds of complication."""
    return [kind for kind in levels_of("complication") if kind != NO_COMPLICATION]


def ever_had(cases: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """`site_id, patient_id` and true/false a kind of complication, a row a site asked about one at any visit."""
    kind = labels(visits, "complication")
    visits = pd.DataFrame({"site_id": visits["site_id"].astype(object).to_numpy(), "kind": kind})
    told = visits[visits["kind"].ne("").to_numpy(bool)]
    asked = cases.loc[cases["site_id"].isin(told["site_id"]).to_numpy(bool), ["site_id", "patient_id"]].astype(object)
    ever = {kind: asked["site_id"].isin(told.loc[told["kind"].eq(kind), "site_id"]) for kind in kinds()}
    return asked.assign(**ever)


def _months_row(subset: str, followed: pd.DataFrame) -> dict:
    """The median time for which implants were followed; no interval."""
    fit = Fit(SEQUEL, subset, "months", METHOD, len(followed), followed["patient_id"].nunique())
    if followed.empty:
        return fit.row(MONTHS, problem=NOT_RECORDED)
    return fit.row(MONTHS, float(followed["months"].median()), headline=True)


def learning(cases: pd.DataFrame) -> tuple[np.ndarray, list[dict]]:
    """Which sites have a case number, shape (n,), and the share torn by bands of it."""
    known, torn = known_perforation(cases)
    case, patient = numbers(cases, CASE_NUMBER), cases["patient_id"].to_numpy()
    operator = labels(cases, "operator")
    n_torn = int((torn & np.isfinite(case)).sum())
    few = remark("below_gate_learning", n_events=n_torn) if n_torn < RATIO else ""
    rows = []
    for band, (first, last) in CASE_BANDS.items():
        used = known & (case >= first) & (case <= last)
        n_operators = len(set(operator[used]) - {""})
        note = joined(remark("by_operators", n_operators=n_operators) if n_operators else "", few)
        problem = "" if used.any() else NOT_RECORDED
        place = (LEARNING, f"{CASE_NUMBER}={band}", "rate")
        row = share_row(place, torn[used], patient[used], note=note, problem=problem)
        rows.append(row | {"headline": row["headline"] and not few})
    return np.isfinite(case), rows

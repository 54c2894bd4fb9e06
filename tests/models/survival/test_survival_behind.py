"""Who stands behind what is told of implants, by hand.

All implants are followed but j (never examined) and k (none placed). Failed: m at month 3, a at 6, c and i at 12, e at
24, g at 40. The patient of f died at 30; b is followed to 24, d to 36, h to 60, l to 18, n seen at placement alone.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from fourteen_sites import PLAN, assert_said, estimate, letters, model, patients, population, row, said

from liftseries.models.survival import behind

FOLLOWED, FAILED, STILL_12 = "abcdefghilmn", "acegim", "bcdefghil"
HEIGHT_ALONE = model("abcdefghiln", "acegi", 12)
BOTH_TERMS = model("abcdefghi", "acegi", 14)  # smoking is not known of l, m and n
# Of smoking[current], which c, d and g are: its sites, all others, and those who never smoked, the reference.
CURRENT = BOTH_TERMS | {"parts": ["acegi", "bdfh", "cg", "aei", "ai", "d", "bfh", "bf"]}


def at(month: float, *, still: str, followed: str = FOLLOWED, died: str = "", says: str = "survival") -> tuple:
    return (says, month, followed, still, died)


# ── estimates by month ──────────────────────────────────────────────────────────────────────────────────────


def test_survival_at_a_month_gives_away_who_failed_by_then():
    jackknife, by_12 = "infinitesimal_jackknife", {"gives_away": ["acim"]}
    of_12 = estimate(FOLLOWED, FAILED, (STILL_12,), **by_12)
    guided = estimate("abegiln", "aegi", ("begil",), gives_away=["ai"], parts=["ai"])
    by_36 = estimate(FOLLOWED, FAILED, ("dgh",), gives_away=["aceim"], parts=["aceim"])
    rows = [
        (row("survival.km", "12", jackknife), of_12 | {"parts": ["acim"], "by_month": at(12, still=STILL_12)}),
        (row("survival.km", "36", jackknife), by_36 | {"by_month": at(36, still="dgh", died="f")}),
        (
            row("survival.km", "12", jackknife, "approach=guided"),
            guided | {"by_month": at(12, followed="abegiln", still="begil")},
        ),
        (row("survival.km", "12", "corrected"), of_12 | {"by_month": at(12, still=STILL_12)}),
        (
            row("survival.competing", "30", "aalen_johansen"),
            estimate(FOLLOWED, FAILED, ("dfgh",), gives_away=["aceim"])
            | {"by_month": at(30, still="dfgh", died="f", says="failed")},
        ),
        (row("survival.rmst", "12", "area"), of_12 | {"by_month": at(12, still=STILL_12, says="months")}),
        (row("survival.other", "12", "any"), of_12),
    ]
    assert_said(behind.by_month, rows)


def test_the_bound_of_at_most_one_patient_with_a_failure_tells_how_many_patients_there_are():
    """By month 3 only m has failed, by month 6 a too; by month 2 nobody."""
    still = "abcdefghilm"
    rows = []
    for month, failed, left in ((2, "", still), (3, "m", still), (6, "am", "abcdefghil")):
        of_month = estimate(FOLLOWED, FAILED, (left,), gives_away=[failed], by_month=at(month, still=left))
        bound = {} if month == 6 else {"by_interval": [patients(failed), patients(left)]}
        parts = {"parts": [failed]} if failed else {}
        rows += [
            (row("survival.km", str(month), "corrected"), of_month | bound),
            (row("survival.km", str(month), "infinitesimal_jackknife"), of_month | parts),
        ]
    assert_said(behind.by_month, rows)


def test_months_apart_are_of_a_level_and_the_reference():
    """Freehand, c d f h m, is what guided is compared with; never smoked, a b f i, what the others are."""
    rows = [
        (
            row("survival.rmst_difference", "24", "area", "approach=guided"),
            estimate(FOLLOWED, FAILED, ("beg", "dfh"), gives_away=["aei", "cm"]),
        ),
        (
            row("survival.rmst_difference", "12", "area", "smoking=current"),
            estimate("abcdfgi", "acgi", ("cdg", "bfi"), gives_away=["c", "ai"]),
        ),
    ]
    assert_said(behind.months_apart, rows)
    of = population(centre=["=1", "=2"] * 7)  # names that begin with the sign after which a level stands
    second = estimate(FOLLOWED, FAILED, ("bdfhl", "cegi"), gives_away=["", "acim"])
    assert_said(behind.months_apart, [(row("survival.rmst_difference", "12", "area", "centre==2"), second)], of)


def test_a_life_table_counts_who_enters_a_year_fails_in_it_and_failed_before_it():
    second, third = estimate(STILL_12, "ci", gives_away=["am"]), estimate("bdefgh", "e", gives_away=["acim"])
    second["by_month"] = at(12, still=STILL_12, says="life table")
    third["by_month"] = at(24, still="bdefgh", says="life table")
    rows = [(row("survival.life_table", month, "actuarial"), said) for month, said in (("12", second), ("24", third))]
    assert_said(behind.life_table, rows)


def test_between_visits_counts_whom_a_visit_told_something_of_after_placement():
    """Not f, of whom the death alone is told, nor n."""
    told = estimate("abcdeghilm", FAILED, ("bcdeghil",), gives_away=["acim"])
    assert_said(behind.between_visits, [(row("survival.turnbull", "12", "npmle"), told)])


def test_a_patient_has_a_first_failure_where_the_first_implant_to_fall_out_failed():
    """Not z, of whom n fell out before m failed. Until a patient's first: p 6 months, though b has 24, q and v 12."""
    of_12 = {"rests_on": [FOLLOWED, "cdefghil"], "gives_away": [patients("abcdi")]}
    of_24 = {"rests_on": [FOLLOWED, "efgh"], "gives_away": [patients("abcdei")]}
    counts = estimate(FOLLOWED, patients("abcdegi"))
    rows = [(row("survival.patient", "12"), counts | of_12), (row("survival.patient", "24"), counts | of_24)]
    assert_said(behind.first_failure, rows)


# ── models ──────────────────────────────────────────────────────────────────────────────────────────────────


def test_hazards_stand_on_the_plan_s_terms_and_what_is_quoted_on_those_that_failures_carry():
    rows = [
        (row("survival.cox", "rbh_mid_mm", "sandwich"), BOTH_TERMS),
        (row("survival.cox", "smoking[current]", "sandwich"), CURRENT),
        (row("survival.firth_cox", "rbh_mid_mm", "first_terms"), HEIGHT_ALONE),
        (row("survival.firth_cox", "rbh_mid_mm", "profile"), BOTH_TERMS),
        (row("survival.firth_cox", "rbh_mid_mm"), HEIGHT_ALONE),  # E-values
        (row("survival.firth_cox", "smoking[current]"), CURRENT),
        (row("survival.cox", "rbh_mid_mm"), BOTH_TERMS),
    ]
    assert_said(behind.hazards, rows)


def test_an_e_value_of_a_level_is_that_of_the_quoted_row():
    """With the approach first, which one coefficient tells."""
    of = population(PLAN | {"survival_terms": ["approach", "rbh_mid_mm", "smoking"]})
    first = model(FOLLOWED, FAILED, 12) | {
        "parts": [FAILED, "bdfhln", "aegi", "cm", "cm", "bln", "dfh", "dfh"],
        "gives_away": ["abegiln", "cdfhm", "aegi", "cm"],
    }
    assert_said(behind.hazards, [(row("survival.firth_cox", "approach[guided]"), first)], of)


def test_other_models_of_terms_stand_on_their_own_implants():
    """After the landmark, month 1, with the gain seen by then: a, b, c, e, g, i and l; n is not followed after it."""
    told = model("abcdeghi", "acegi", 14)
    assert_said(behind.interval, [(row("survival.interval", "rbh_mid_mm", "weibull"), told)])
    curve = told | {"rests_on": ["abcdeghi", "bcdeghi"]}
    assert_said(behind.interval_curve, [(row("survival.interval_curve", "12", "weibull"), curve)])
    landmark = [
        (row("survival.gain", "gain_mm", "profile"), model("abcegi", "acegi", 15)),
        (row("survival.gain", "gain_mm", "first_terms"), model("abcegil", "acegi", 12)),
    ]
    assert_said(behind.landmark, landmark)
    assert_said(behind.imputed, [(row("survival.imputed", "rbh_mid_mm", "pooled"), model(FOLLOWED, FAILED, 14))])


def test_one_population_tells_all_models_apart():
    of = population()
    assert_said(behind.hazards, [(row("survival.cox", "rbh_mid_mm", "sandwich"), BOTH_TERMS)], of)
    assert_said(behind.interval, [(row("survival.interval", "rbh_mid_mm"), model("abcdeghi", "acegi", 14))], of)
    assert_said(behind.landmark, [(row("survival.gain", "gain_mm"), model("abcegi", "acegi", 15))], of)
    assert_said(behind.hazards, [(row("survival.firth_cox", "rbh_mid_mm"), HEIGHT_ALONE)], of)
    assert letters(behind.first_failure(of, row("survival.patient", "12")).counts["n_events"].members) == "abcdegi"


# ── tables ──────────────────────────────────────────────────────────────────────────────────────────────────


def of_table(months: float, subset: str = "all"):
    return next(pd.DataFrame({"subset": [subset], "months": [months]}).itertuples())


def test_numbers_at_risk_and_curves_count_who_is_still_followed():
    of, guided = population(), "abegiln"
    at_12 = {"counts": {"n_at_risk": STILL_12}, "group": FOLLOWED, "seen_in": ("survival",)}
    at_24 = {"counts": {"n_at_risk": "beg"}, "group": guided, "seen_in": ("survival by approach",)}
    assert said(behind.at_risk(of, of_table(12))) == at_12
    assert said(behind.at_risk(of, of_table(24, "approach=guided"))) == at_24
    curve = {"gives_away": ["aei"], "rests_on": ["beg"], "group": guided, "seen_in": ("survival by approach",)}
    told = curve | {"by_month": at(24, followed=guided, still="beg")}
    assert said(behind.curve(of, of_table(24, "approach=guided"))) == told
    at_3 = {"gives_away": ["m"], "by_interval": [patients("m"), patients("abcdefghilm")], "rests_on": ["abcdefghilm"]}
    place = {"group": FOLLOWED, "seen_in": ("survival",), "by_month": at(3, still="abcdefghilm")}
    assert said(behind.curve(of, of_table(3))) == at_3 | place


@pytest.fixture
def tables():
    """Of all until month 18, of the guided until 12; each has a row at the start and at month 12, one at 6 beside."""
    at_risk = pd.DataFrame({"subset": ["all"] * 4 + ["approach=guided"] * 3, "months": [0, 6, 12, 36, 0, 12, 24.0]})
    curves = pd.DataFrame(
        [
            ("all", 12.0, 0.8, 0.6, 0.9),
            ("all", 5.0, 0.9, 0.7, 0.95),
            ("all", 7.0, 0.85, 0.65, 0.92),
            ("all", 18.0, 0.7, 0.5, 0.8),
            ("approach=guided", 11.0, 0.75, 0.4, 0.85),
            ("approach=guided", 12.5, 0.7, 0.3, 0.8),
        ],
        columns=["subset", "months", "survival", "conf_low", "conf_high"],
    )
    results = pd.DataFrame({"analysis": ["survival.km", "survival.km", "other"], "term": ["12", "36", "24"]})
    counts = {"n_at_risk": 5, "n_failed": 2, "n_censored": 1}
    return {"results": results, "survival_at_risk": at_risk.assign(**counts), "survival_curves": curves}


def test_numbers_at_risk_are_told_at_the_start_and_at_the_plan_s_months(tables):
    told = behind.at_planned_months(tables)
    assert told.index.tolist() == [0, 1, 2, 3, 4]
    assert list(told) == ["subset", "months", "n_at_risk", "n_failed", "n_censored"]
    assert told["months"].tolist() == [0, 12, 36, 0, 12]
    assert told["n_at_risk"].eq(5).all()
    assert told[["n_failed", "n_censored"]].isna().all(axis=None)


def test_a_curve_is_told_at_those_months_by_its_last_step_until_then(tables):
    told = behind.curves_at_months(tables)
    assert list(told) == ["subset", "months", "survival", "conf_low", "conf_high"]
    nan = np.nan
    expected = [
        ("all", 0, 1.0, nan, nan),
        ("all", 12, 0.8, 0.6, 0.9),
        ("approach=guided", 0, 1.0, nan, nan),
        ("approach=guided", 12, 0.75, 0.4, 0.85),
    ]
    pd.testing.assert_frame_equal(told, pd.DataFrame(expected, columns=list(told)), check_dtype=False)
    nobody = tables["survival_curves"].query("subset == 'approach=guided'")
    assert behind.curves_at_months(tables | {"survival_curves": nobody})["subset"].eq("approach=guided").all()

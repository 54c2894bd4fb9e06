"""What lifelines and statsmodels make of a series stands beside ours, and never stops a run."""

from __future__ import annotations

import subprocess
import sys
import warnings

import numpy as np
import pandas as pd
import pytest
from every_question import GAIN, HAZARDS, MONTHS, ODDS
from invented import invented_cases, invented_visits
from test_degenerate import KINDS

from liftseries.base.remarks import names_in
from liftseries.models.gain.mixed import fit_gain_mixed
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.sensitivity import second_opinion
from liftseries.models.sensitivity.second_opinion import (
    COLUMNS,
    TOLD,
    Opinion,
    compared,
    fit_second_opinion,
    opinions_on,
    relative,
)
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.survival.competing import fit_survival_competing
from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.interval import fit_survival_interval
from liftseries.models.survival.km import fit_survival_km


def ours(cases: pd.DataFrame, visits: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The rows that the libraries' answers are held against."""
    implants = follow_up(visits, cases).implants
    answers = {
        "rates": fit_perforation_rate(cases),
        "odds": fit_perforation_gee(cases, ODDS),
        "curve": fit_survival_km(implants, MONTHS),
        "incidence": fit_survival_competing(implants, MONTHS),
        "hazards": fit_survival_cox(implants, HAZARDS),
        "times": fit_survival_interval(implants, HAZARDS, MONTHS),
        "gain": fit_gain_mixed(visits, cases, GAIN),
    }
    return {name: answer.rows for name, answer in answers.items()}


def opinion_on(cases: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    implants = follow_up(visits, cases).implants
    return fit_second_opinion(cases, implants, visits, ODDS, HAZARDS, GAIN, **ours(cases, visits))


def opinions_of(analysis: str, cases: pd.DataFrame, visits: pd.DataFrame) -> list[Opinion]:
    implants = follow_up(visits, cases).implants
    return [one for one in opinions_on(cases, implants, visits, ODDS, HAZARDS, GAIN) if one.analysis == analysis]


@pytest.fixture(scope="module")
def plain():
    """Ninety patients: failures and perforations enough for every model."""
    cases = invented_cases(90, 11)
    return cases, invented_visits(cases, 12)


@pytest.fixture(scope="module")
def told(plain):
    return opinion_on(*plain).set_index(["analysis", "library"])


def test_estimates_agree(told):
    """The figures of tests/against_r: closed forms and Newton's method to the last digits, the others as they stop."""
    assert told["problem"].eq("").all(), told["problem"].tolist()
    assert (told["n_compared"] > 0).all()
    early = [("survival.interval", "lifelines"), ("gain.mixed", "statsmodels")]
    assert (told.drop(index=early)["estimate_difference"] < 1e-7).all()
    assert (told.loc[early, "estimate_difference"] < 1e-2).all()


def test_errors_agree_or_the_reason_is_given(told):
    exact = told[told["reason"].eq("")]["error_difference"]
    assert (exact.isna() | (exact < TOLD)).all()
    reasons = {key: names_in(reason) for key, reason in told["reason"].items() if reason}
    assert reasons == {
        ("survival.km", "statsmodels"): {"implants_independent"},
        ("survival.competing", "statsmodels"): {"implants_independent"},
        ("survival.cox", "lifelines"): {"no_efron_weights"},
        ("survival.cox", "statsmodels"): {"no_efron_weights"},
        ("survival.interval", "lifelines"): {"search_ends_early", "implants_independent"},
        ("gain.mixed", "statsmodels"): {"search_ends_early", "joint_hessian"},
    }
    assert told.loc["gain.mixed", "error_difference"].max() < 0.03


def test_without_tied_failures_the_errors_of_the_cox_models_agree(plain):
    """That it is the ties is not only said: the same series, no two visits at the same time."""
    cases, visits = plain
    visits = visits.assign(months=visits["months"] + np.arange(len(visits)) / 1e4)
    rows = fit_survival_cox(follow_up(visits, cases).implants, HAZARDS).rows
    opinions = opinions_of("survival.cox", cases, visits)
    assert len(opinions) == 2
    for one in opinions:
        told = compared(one, rows)
        assert told["error_difference"] < 1e-6, one.library
        assert told["reason"] == "", one.library


@pytest.mark.parametrize("column", ["estimate", "std_error"])
def test_a_wrong_number_of_ours_is_found(plain, column):
    """One coefficient or error off by one in a thousand, where both are equal to the last digits."""
    rows = fit_perforation_gee(plain[0], ODDS).rows
    wrong = rows.assign(**{column: rows[column].where(rows["term"] != "rbh_mid_mm", rows[column] * 1.001)})
    (one,) = opinions_of("perforation.gee", *plain)
    told = compared(one, wrong)
    assert told[f"{column.replace('std_', '')}_difference"] == pytest.approx(0.001 / 1.001, rel=1e-4)
    assert ("library_differs" in names_in(told["problem"])) == (column == "estimate")


@pytest.mark.parametrize("kind", KINDS)
def test_whatever_the_series_each_opinion_has_a_number_or_a_reason(kind):
    told = opinion_on(*KINDS[kind]())
    assert tuple(told.columns) == COLUMNS
    assert len(told) == 9
    assert (told["n_compared"].gt(0) | told["problem"].ne("")).all()
    assert not [text for text in [*told["reason"], *told["problem"]] if "" in names_in(text)]
    # Another number of ours would be a fault; a library that ran into its limits says so itself.
    differs = told[[("library_differs" in names_in(text)) for text in told["problem"]]]
    assert differs.empty, differs.to_dict("records")


ROWS = pd.DataFrame(
    {
        "analysis": "a",
        "subset": "all",
        "method": "m",
        "term": ["x", "y"],
        "estimate": [2.0, 4.0],
        "std_error": [1.0, np.nan],
    }
).assign(conf_low=[0.0, 3.0], conf_high=[4.0, 5.0])


def asked(asks, **more) -> dict:
    return compared(Opinion("a", "m", "mill", asks, 1e-8, **more), ROWS)


def test_differences_are_the_largest_and_relative_to_ours():
    """x: 2.2 against 2 and 1.5 against 1; y: 4 against 4, and half the interval of ours is 1."""
    row = asked(lambda _: {"x": (2.2, 1.5), "y": (4.0, 1.25)})
    assert (row["n_compared"], row["estimate_difference"]) == (2, pytest.approx(0.1))
    assert row["error_difference"] == pytest.approx(0.5)
    assert names_in(row["problem"]) == {"library_differs"}


def test_a_known_reason_is_given_only_where_something_differs():
    same = {"x": (2.0, 1.0), "y": (4.0, 1.0)}
    assert asked(lambda _: same, reason="joint_hessian")["reason"] == ""
    assert asked(lambda _: same | {"x": (2.0, 1.1)}, reason="joint_hessian")["reason"] != ""


def test_a_library_that_fails_warns_or_leaves_nothing_is_a_row():
    def warns(_):
        warnings.warn("slow", RuntimeWarning, stacklevel=1)
        return {"x": (2.0, 1.0)}

    def fails(_):
        raise ZeroDivisionError("the cell 12,5")

    assert asked(fails)["problem"] == "mill gave no answer (ZeroDivisionError)"
    assert asked(lambda _: {})["problem"] == "mill gave no answer (NaN)"
    row = asked(warns)
    assert (row["n_compared"], row["problem"]) == (1, "mill warned (RuntimeWarning)")


def test_nothing_against_nothing_is_no_difference():
    assert relative(pd.Series([0.0, np.nan]), pd.Series([0.0, 1.0])) == 0
    assert np.isnan(relative(pd.Series([np.nan]), pd.Series([1.0])))


def test_the_libraries_are_imported_when_they_are_asked():
    """The process that every job is forked from must not carry them."""
    code = f"import sys; import {second_opinion.__name__}; print(*{{'lifelines', 'statsmodels'}} & {{*sys.modules}})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.split() == []


def test_of_a_large_series_closed_forms_alone_are_asked_for(plain, told, monkeypatch):
    """The same series told to be too large: models are not asked for, what is left says what it said."""
    monkeypatch.setattr(second_opinion, "MOST_SITES", len(plain[0]) - 1)
    large = opinion_on(*plain).set_index(["analysis", "library"])
    unasked = large["problem"].map(lambda text: "too_large_for_library" in names_in(text))
    assert set(large.index[unasked].get_level_values("analysis")) == {
        "survival.cox", "survival.interval", "perforation.gee", "gain.mixed"
    }  # fmt: skip
    assert large.loc[unasked, "n_compared"].eq(0).all()
    pd.testing.assert_frame_equal(large[~unasked], told[~unasked])

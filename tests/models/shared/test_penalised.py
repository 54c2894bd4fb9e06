"""The wider of profile and jackknife, limit by limit, and when it is quoted: worked by hand."""

import numpy as np
import pytest

from liftseries.models.shared.penalised import quoted_gate, wider_rows
from liftseries.models.shared.results import Fit

SHARED = {"analysis": "a", "subset": "all", "scale": "log_odds", "n_sites": 90, "n_patients": 40, "n_events": 12}
PROFILE, JACKKNIFE = Fit(method="profile", **SHARED), Fit(method="jackknife", df=38, **SHARED)
WIDER = Fit(method="profile_or_jackknife", df=38, note="of the fit", **SHARED)


def profile(term="x", low=-1.0, high=2.0, p=0.30, problem=""):
    return PROFILE.row(term, 0.5, 0.6, problem, conf_low=low, conf_high=high, conf_level=0.95, p_value=p)


def jackknife(term="x", low=-1.5, high=1.8, p=0.20, problem=""):
    return JACKKNIFE.row(term, 0.5, 0.7, problem, conf_low=low, conf_high=high, conf_level=0.95, p_value=p)


def test_each_limit_is_the_farther_one_whichever_row_it_comes_from():
    (row,) = wider_rows(WIDER, [profile()], [jackknife()])
    assert (row["conf_low"], row["conf_high"], row["p_value"]) == (-1.5, 2.0, 0.30)
    assert (row["estimate"], row["std_error"], row["df"], row["method"]) == (0.5, 0.7, 38, "profile_or_jackknife")
    assert row["headline"]
    assert (row["note"], row["problem"]) == ("of the fit", "")


def test_below_its_gate_a_row_stays_and_says_why():
    (row,) = wider_rows(WIDER, [profile()], [jackknife()], "a reason")
    assert not row["headline"]
    assert row["note"] == "of the fit; a reason"
    assert row["conf_low"] == -1.5


def test_what_one_of_both_could_not_find_is_left_empty_and_not_quoted():
    (row,) = wider_rows(WIDER, [profile(low=np.nan, problem="no lower limit")], [jackknife()])
    assert np.isnan(row["conf_low"])
    assert row["conf_high"] == 2.0
    assert row["problem"] == "no lower limit"
    assert not row["headline"]
    (row,) = wider_rows(WIDER, [profile()], [JACKKNIFE.row("x", 0.5, problem="one patient alone")])
    assert "conf_low" not in row
    assert (row["estimate"], row["problem"]) == (0.5, "one patient alone")
    assert not row["headline"]


def test_a_problem_of_both_is_told_once_and_terms_must_match():
    (row,) = wider_rows(WIDER, [profile(problem="odd unit")], [jackknife(problem="odd unit")])
    assert row["problem"] == "odd unit"
    assert row["headline"]
    with pytest.raises(ValueError, match="zip"):
        wider_rows(WIDER, [profile()], [])


@pytest.mark.parametrize(
    ("n_events", "n_terms", "told"),
    [
        (4, 1, "4 events: too few for a ratio"),
        (5, 1, ""),
        (5, 2, "5 events carry 1 term, the model has 2 terms"),
        (9, 2, "9 events carry 1 term, the model has 2 terms"),
        (10, 2, ""),
        (10, 3, "10 events carry 2 terms, the model has 3 terms"),
        (19, 4, "19 events carry 3 terms, the model has 4 terms"),
        (20, 4, ""),
        (499, 3, ""),
        (500, 3, "not fitted, as 500 events are many: the report quotes perforation.gee"),
    ],
)
def test_gates_of_a_penalised_ratio(n_events, n_terms, told):
    assert quoted_gate(n_events, n_terms, "perforation.gee") == told


def test_from_many_events_the_penalised_ratio_is_quoted_where_the_other_has_no_answer():
    assert quoted_gate(500, 3) == ""

"""The columns of results.csv and the interval of a standard error."""

import io

import numpy as np
import pandas as pd
import pytest

from liftseries.estimators.intervals import critical_value, two_sided_p
from liftseries.models.shared.results import Fit, results_table

CONTRACT = (
    "analysis, subset, term, method, headline, estimate, std_error, conf_low, conf_high, conf_level, "
    "p_value, df, scale, n_sites, n_patients, n_events, note, problem"
)


@pytest.fixture
def fit():
    return Fit("some.analysis", "all", "mm", "by hand", n_sites=12, n_patients=9, df=8)


def test_columns_stand_in_the_contracts_order(fit):
    assert ", ".join(results_table([fit.row("bias", 1.0)]).columns) == CONTRACT


def test_counts_stay_integers_and_empty_cells_empty_in_csv(fit):
    table = results_table([fit.wald_row("bias", 1.5, 0.5), fit.row("low", problem="why not")])
    written = pd.read_csv(io.StringIO(table.to_csv(index=False)), dtype=str, keep_default_na=False)
    assert written["n_sites"].tolist() == ["12", "12"]
    assert written["df"].tolist() == ["8.0", "8.0"]  # pooled imputations have a fraction of them
    assert written["n_events"].tolist() == ["", ""]
    assert written["estimate"].tolist() == ["1.5", ""]
    assert written["problem"].tolist() == ["", "why not"]
    assert written["headline"].tolist() == ["False", "False"]


def test_normal_and_t_intervals():
    """1.959964 and t(8) 2.306004: any printed table of the two distributions, e.g. Fisher and Yates."""
    assert critical_value() == pytest.approx(1.959964, abs=5e-7)
    assert critical_value(8) == pytest.approx(2.306004, abs=5e-7)
    assert two_sided_p(1.959964) == pytest.approx(0.05, abs=1e-7)
    assert two_sided_p(-2.306004, 8) == pytest.approx(0.05, abs=1e-7)


def test_a_standard_error_of_zero_is_a_problem_not_an_interval(fit):
    row = fit.wald_row("bias", 1.0, 1e-14)
    assert row["problem"]
    assert np.isnan(row["estimate"])
    assert "conf_low" not in row

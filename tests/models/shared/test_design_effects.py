"""What clustering costs, where the answer is known: every site twice in the same patient has twice the variance."""

import numpy as np
import pandas as pd
import pytest

from liftseries.base.remarks import names_in
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.shared.results import Fit
from liftseries.models.survival.km import fit_survival_km


def test_rate_of_sites_that_come_in_equal_pairs():
    perforated = np.repeat(["yes"] * 12 + ["no"] * 48, 2)
    cases = pd.DataFrame({"patient_id": np.repeat(np.arange(60), 2), "perforation": perforated})
    estimates = fit_perforation_rate(cases)
    quoted, effect = (row for _, row in estimates.design_effects.iterrows())
    assert (effect["term"], effect["method"]) == ("perforation.rate rate", "cluster")
    assert effect["estimate"] == pytest.approx(2)
    # The quoted one has the factor m / (m - 1) of its 12 patients with a perforation.
    assert (quoted["term"], quoted["method"]) == ("perforation.rate rate", "patients")
    assert quoted["estimate"] == pytest.approx(2 * 12 / 11)
    cluster = estimates.rows.set_index("method").loc["cluster"]
    assert cluster["std_error"] == pytest.approx(np.sqrt(0.2 * 0.8 / 60))  # as if each pair were one


def test_survival_of_implants_that_come_in_equal_pairs():
    one = pd.DataFrame(
        {"patient_id": range(6), "months": [6.0, 18, 20, 30, 40, 40], "failed": [True, True] + [False] * 4}
    )
    both = fit_survival_km(pd.concat([one, one], ignore_index=True), [12, 36])
    alone = fit_survival_km(one, [12, 36])
    assert both.design_effects["estimate"].tolist() == pytest.approx([2, 2])
    assert alone.design_effects["estimate"].tolist() == pytest.approx([1, 1])
    np.testing.assert_allclose(both.rows["std_error"], alone.rows["std_error"])


def test_pairs_that_always_differ_cost_less_than_nothing():
    """One perforation in each of 40 pairs but two: sites of a patient are less alike than chance."""
    perforated = ["yes", "no"] * 38 + ["yes", "yes", "no", "no"]
    cases = pd.DataFrame({"patient_id": np.repeat(np.arange(40), 2), "perforation": perforated})
    estimates = fit_perforation_rate(cases)
    assert estimates.design_effects["estimate"].between(0, 0.2, inclusive="neither").all()
    rows = estimates.rows.set_index("method")
    for method in ("patients", "cluster"):
        assert "an alarm, no gain in precision" in rows.loc[method, "note"]
    assert rows.loc[["wilson", "exact"], "note"].eq("").all()


@pytest.mark.parametrize(("std_error", "warned"), [(np.sqrt(0.5), False), (np.sqrt(0.499), True), (2.0, False)])
def test_a_design_effect_below_one_half_is_warned_of(std_error, warned):
    fit = Fit("survival.km", "all", "probability", "infinitesimal_jackknife", n_sites=9, n_patients=5)
    row = fit.design_effect_row("36", std_error, 1.0)
    assert (names_in(row["note"]) == {"narrow_by_clustering"}) is warned

"""The perforation model as a predictor: second ways to the same numbers, and centres that are hard to leave out."""

import numpy as np
import pandas as pd
import pytest
from invented import invented_cases

from liftseries.base.remarks import names_in
from liftseries.models.perforation.validation import LEAVE_OUT, fit_perforation_validation, validation_draws

TERMS = ["rbh_mid_mm", "approach", "smoking"]


@pytest.fixture(scope="module")
def cases():
    table = invented_cases(120, seed=61)
    return table.assign(centre=np.array(["north", "south", "west"])[pd.factorize(table["patient_id"])[0] % 3])


def rows_of(cases, terms=TERMS, n=4):
    return fit_perforation_validation(cases, terms, validation_draws(cases, terms, 5, 0, n)).rows


def smoking_matrix(cases):
    smoking = np.asarray(cases["smoking"])
    columns = [np.ones(len(cases)), cases["rbh_mid_mm"], cases["approach"] == "guided"]
    return np.column_stack([*columns, smoking == "former", smoking == "current"]).astype(float)


def by_pairs(score, event):
    """The c statistic as a count over all pairs of sites."""
    return np.mean([(a > b) + (a == b) / 2 for a in score[event] for b in score[~event]])


def statsmodels_scores(x, event, patient, on):
    """Log odds at `on` of a GEE that statsmodels fits with the moments over N - p of our own."""
    import statsmodels.api as sm

    model = sm.GEE(
        event.astype(float), x, patient, family=sm.families.Binomial(), cov_struct=sm.cov_struct.Exchangeable()
    )
    return on @ model.fit(maxiter=200, ctol=1e-10).params


def test_a_replicate_from_start_to_end(cases):
    """The drawn patients gathered one by one, the GEE of statsmodels, pairs counted.

    statsmodels' moment estimate of the correlation divides by other numbers than ours, so that c, which only has the
    order of the scores, agrees but for a few pairs that change places.
    """
    rng = np.random.default_rng([5, 2, 3])
    names = cases["patient_id"].unique()
    drawn = rng.integers(0, len(names), len(names))
    parts = [cases[cases["patient_id"] == names[k]].assign(copy=copy) for copy, k in enumerate(sorted(drawn))]
    resample = pd.concat(parts, ignore_index=True)
    event, everyone = resample["perforation"].eq("yes").to_numpy(), cases["perforation"].eq("yes").to_numpy()
    x, whole = smoking_matrix(resample), smoking_matrix(cases)
    order = resample["copy"].to_numpy()
    told = validation_draws(cases, TERMS, 5, 3, 1).set_index("term").loc["c_statistic"]
    assert told["resampled"] == pytest.approx(by_pairs(statsmodels_scores(x, event, order, x), event), abs=0.003)
    there = by_pairs(statsmodels_scores(x, event, order, whole), everyone)
    assert told["tried_on_series"] == pytest.approx(there, abs=0.003)


def test_optimism_is_subtracted_and_its_interval_shifted(cases):
    draws = validation_draws(cases, TERMS, 5, 0, 30)
    rows = fit_perforation_validation(cases, TERMS, draws).rows
    c = rows[rows["term"] == "c_statistic"].reset_index(drop=True)
    here, there = (draws.loc[draws["term"] == "c_statistic", column] for column in ("resampled", "tried_on_series"))
    optimism = np.mean(here) - np.mean(there)
    assert c.loc[1, "estimate"] == pytest.approx(c.loc[0, "estimate"] - optimism)
    assert c.loc[1, "conf_low"] == pytest.approx(np.percentile(here, 2.5) - optimism)
    assert c.loc[1, "conf_high"] == pytest.approx(np.percentile(here, 97.5) - optimism)
    assert "percentiles_shifted" in names_in(c.loc[1, "note"])


@pytest.mark.parametrize("first", ["north", "west"])
def test_the_effect_of_a_centre_is_not_used_to_predict_it(cases, first):
    """Whichever centre is the reference: a model with the term centre predicts a new one as the model without it."""
    order = [first, *(name for name in ("north", "south", "west") if name != first)]
    table = cases.assign(centre=pd.Categorical(cases["centre"], order))
    with_term, without = rows_of(table, [*TERMS, "centre"]), rows_of(table)
    with_term, without = (rows[rows["method"] == LEAVE_OUT] for rows in (with_term, without))
    assert with_term["note"].eq("without the term centre").all()
    columns = ["subset", "term", "estimate", "std_error", "conf_low", "conf_high", "n_sites"]
    pd.testing.assert_frame_equal(with_term[columns], without[columns])


def test_of_many_centres_of_a_large_series_several_are_left_out_together(cases, monkeypatch):
    """Two models for three centres: north and west are predicted from the south alone, as where there is no other."""
    monkeypatch.setattr("liftseries.models.perforation.validation.MOST_REFITS", 2)
    each = rows_of(cases)
    assert not each["note"].str.contains("several at a time", na=False).any()
    monkeypatch.setattr("liftseries.models.perforation.validation.LARGE_SERIES", len(cases) // 2)
    together = rows_of(cases)
    note = "centres left out several at a time, by 2 models"
    assert together.loc[together["method"] == LEAVE_OUT, "note"].eq(note).all()
    columns = ["term", "estimate", "std_error", "conf_low", "conf_high", "n_sites", "n_patients"]

    def told(rows, centre):
        return rows.loc[rows["subset"] == f"centre={centre}", columns].reset_index(drop=True)

    pd.testing.assert_frame_equal(told(together, "south"), told(each, "south"))
    for centre, other in (("north", "west"), ("west", "north")):
        alone = rows_of(cases[cases["centre"] != other])
        pd.testing.assert_frame_equal(told(together, centre), told(alone, centre))
        assert not told(together, centre).equals(told(each, centre))


def test_a_term_that_two_centres_do_not_tell_apart_from_another_is_left_out_there(cases):
    """Twins except at one centre: without it the terms are the same, so that only their sum can be told."""
    own = cases["centre"] == "west"
    twin = np.where(own, np.random.default_rng(62).uniform(2, 8, len(cases)), cases["rbh_mid_mm"])
    rows = rows_of(cases.assign(twin_mm=twin), ["rbh_mid_mm", "twin_mm"])
    west = rows[rows["subset"] == "centre=west"].set_index("term")["estimate"]
    single = rows_of(cases, ["rbh_mid_mm"])
    single = single[single["subset"] == "centre=west"].set_index("term")["estimate"]
    assert west.to_dict() == pytest.approx(single.to_dict())


def test_centres_stand_for_their_own_sites_with_t_where_patients_are_few(cases):
    rows = rows_of(cases)
    left = rows[(rows["method"] == LEAVE_OUT) & (rows["term"] == "c_statistic")].set_index("subset")
    for name, table in cases.groupby("centre"):
        row = left.loc[f"centre={name}"]
        assert (row["n_sites"], row["n_patients"]) == (len(table), table["patient_id"].nunique())
        assert row["df"] == table["patient_id"].nunique() - 1
    assert np.isnan(left.loc["all", "df"])


def test_a_site_of_no_known_centre_is_not_counted_as_predicted(cases):
    rows = rows_of(cases.assign(centre=cases["centre"].where(np.arange(len(cases)) >= 9)))
    whole = rows[(rows["method"] == LEAVE_OUT) & (rows["subset"] == "all")]
    assert (whole["n_sites"] == len(cases) - 9).all()


def test_a_centre_with_tears_in_one_patient_or_none_has_no_interval(cases):
    torn = cases["perforation"].eq("yes")
    one = cases.loc[torn & cases["centre"].eq("north"), "patient_id"].iloc[0]
    quiet = cases["centre"].eq("south") | (cases["centre"].eq("north") & cases["patient_id"].ne(one))
    rows = rows_of(cases.assign(perforation=np.where(torn & ~quiet, "yes", "no")))
    c = rows[rows["term"] == "c_statistic"].set_index("subset")
    assert "no site was perforated" in c.loc["centre=south", "problem"]
    assert "one patient's" in c.loc["centre=north", "problem"]
    assert np.isnan(c.loc["centre=north", "std_error"])


def test_resamples_without_an_answer_are_counted():
    """Three tears: some resamples have none of them."""
    cases = invented_cases(60, seed=63)
    torn = np.flatnonzero(cases["perforation"] == "yes")[:3]
    cases["perforation"] = np.where(np.isin(np.arange(len(cases)), torn), "yes", "no")
    draws = validation_draws(cases, ["rbh_mid_mm"], 5, 0, 60)
    by_replicate = draws.groupby("replicate")["resampled"].count()
    n_empty = int((by_replicate == 0).sum())
    assert n_empty > 0
    rows = fit_perforation_validation(cases, ["rbh_mid_mm"], draws).rows
    corrected = rows[rows["method"].eq("optimism_corrected") & rows["term"].eq("calibration_intercept")].iloc[0]
    assert corrected["problem"] == ""
    n_unjudged = (
        draws.loc[draws["term"] == "calibration_intercept", ["resampled", "tried_on_series"]].isna().any(axis=1)
    )
    assert f"{n_unjudged.sum()} resamples not to be judged" in corrected["note"]

"""Multiple imputation: once a patient, nothing known is touched, chunks change nothing, and it mends what it should."""

import numpy as np
import pandas as pd
import pytest
from invented import category, invented_cases, invented_visits

from liftseries.estimators.intervals import NotFitted
from liftseries.estimators.missing_values import DONORS
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.perforation.imputed import fit_perforation_imputed, perforation_imputed_draws
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.shared.imputation import chain_of, completed_sets
from liftseries.models.shared.imputed import draws_table
from liftseries.models.survival.imputed import cumulative_hazard, fit_survival_imputed, survival_imputed_draws

TERMS, HELPERS, OF_PATIENT = ["rbh_mid_mm", "smoking"], ["centre", "age_years"], ["centre", "age_years", "smoking"]


@pytest.fixture(scope="module")
def gaps():
    """An invented series in which smoking is unknown for a fifth of the patients and one height in ten is missing."""
    cases = invented_cases(150, seed=21)
    rng = np.random.default_rng(22)
    unknown = set(rng.choice(cases["patient_id"].unique(), 30, replace=False))
    cases["smoking"] = cases["smoking"].where(~cases["patient_id"].isin(unknown), "unknown")
    cases.loc[rng.random(len(cases)) < 0.1, "rbh_mid_mm"] = np.nan
    return cases


def chain(cases):
    outcome = {"perforation": cases["perforation"].eq("yes").to_numpy()}
    return chain_of(cases, TERMS, HELPERS, outcome, OF_PATIENT)


def test_every_target_is_filled_and_what_was_known_is_kept(gaps):
    (table,) = completed_sets(chain(gaps), 1, 9, 0, 1, 3)
    assert table["rbh_mid_mm"].notna().all()
    assert set(table["smoking"]) <= {"never", "former", "current"}
    known = gaps["smoking"].ne("unknown").to_numpy()
    assert (table["smoking"].astype(str)[known] == gaps["smoking"].astype(str)[known]).all()
    measured = gaps["rbh_mid_mm"].notna()
    assert (table.loc[measured, "rbh_mid_mm"] == gaps.loc[measured, "rbh_mid_mm"]).all()
    # Donors: an imputed height is one that was measured.
    assert set(table.loc[~measured, "rbh_mid_mm"]) <= set(gaps.loc[measured, "rbh_mid_mm"])


def test_what_belongs_to_a_patient_is_imputed_once(gaps):
    for table in completed_sets(chain(gaps), 1, 9, 0, 5, 2):
        assert (table.groupby("patient_id")["smoking"].nunique() == 1).all()


def test_sets_differ_and_chunks_do_not(gaps):
    asked = (gaps, TERMS, HELPERS, OF_PATIENT, 5)
    whole = perforation_imputed_draws(*asked, 0, 6, 2)
    parts = [perforation_imputed_draws(*asked, first, n, 2) for first, n in ((0, 1), (1, 4), (5, 1))]
    pd.testing.assert_frame_equal(whole, pd.concat(parts, ignore_index=True))
    assert whole.groupby("term")["estimate"].nunique().eq(6).all()


def test_rows_say_how_much_information_was_missing(gaps):
    draws = perforation_imputed_draws(gaps, TERMS, HELPERS, OF_PATIENT, 5, 0, 5, 3)
    estimates = fit_perforation_imputed(gaps, TERMS, HELPERS, OF_PATIENT, draws)
    rows = estimates.rows
    assert rows["term"].tolist() == ["(intercept)", "rbh_mid_mm", "smoking[former]", "smoking[current]"]
    assert rows["n_sites"].eq(len(gaps)).all()
    assert rows["method"].eq("pooled").all()
    assert rows["note"].str.contains(r"^5 imputations; .*missing information \d").all()
    assert (rows["df"] < rows["n_patients"]).all()
    models = estimates.models.set_index("variable")
    assert models.loc["smoking", ["level_of", "n_missing"]].tolist() == ["patient", 30]
    assert models.loc["rbh_mid_mm", "level_of"] == "site"
    assert "outcome" in models.loc["smoking", "predictors"]


def test_nothing_missing_is_said(many_cases):
    draws = perforation_imputed_draws(many_cases, ["rbh_mid_mm"], HELPERS, OF_PATIENT, 5, 0, 2, 1)
    rows = fit_perforation_imputed(many_cases, ["rbh_mid_mm"], HELPERS, OF_PATIENT, draws).rows
    assert draws.empty
    assert rows["problem"].str.startswith("nothing is missing").all()


def test_a_term_that_nobody_knows_cannot_be_imputed(gaps):
    blank = gaps.assign(smoking=category("smoking", ["unknown"] * len(gaps)))
    with pytest.raises(NotFitted, match="smoking is known at no site"):
        chain(blank)
    rows = fit_perforation_imputed(blank, TERMS, HELPERS, OF_PATIENT, perforation_imputed_draws(
        blank, TERMS, HELPERS, OF_PATIENT, 5, 0, 2, 1
    )).rows  # fmt: skip
    assert rows["problem"].str.contains("known at no site").all()


def test_survival_with_unknown_smoking(gaps):
    implants = follow_up(invented_visits(gaps, seed=23), gaps).implants
    asked = (implants, TERMS, HELPERS, OF_PATIENT)
    rows = fit_survival_imputed(*asked, survival_imputed_draws(*asked, 5, 0, 4, 2)).rows
    assert rows["estimate"].notna().all()
    assert rows["n_sites"].eq(len(implants)).all()


def test_cumulative_hazard_by_hand():
    """Four implants out at 1, 2 (failed), 2 (failed), 3 (failed): 2/3 at month 2, 2/3 + 1 at month 3."""
    hazard = cumulative_hazard(np.array([1.0, 2, 2, 3]), np.array([False, True, True, True]))
    assert hazard.tolist() == pytest.approx([0, 2 / 3, 2 / 3, 5 / 3])


def test_imputation_mends_what_complete_cases_get_wrong():
    """A number is hidden more often at perforated sites with a high helper: complete cases are biased, sets are not.

    The bias of the complete cases is some four standard errors here; the pooled estimate has to lie within 2.6 of its
    own, which one run in a hundred misses. One run, seed not searched for.
    """
    rng = np.random.default_rng(2024)
    n = 4000
    helper = rng.normal(0, 1, n)
    x = 0.8 * helper + rng.normal(0, 0.6, n)
    event = rng.random(n) < 1 / (1 + np.exp(1.5 - 1.0 * x))
    hidden = rng.random(n) < np.where(event & (helper > 0), 0.75, 0.1)
    cases = pd.DataFrame(
        {
            "patient_id": np.arange(n),
            "perforation": np.where(event, "yes", "no"),
            "x": np.where(hidden, np.nan, x),
            "helper": helper,
        }
    )
    complete = fit_perforation_gee(cases, ["x"]).rows.query("method == 'sandwich'").set_index("term").loc["x"]
    draws = perforation_imputed_draws(cases, ["x"], ["helper"], [], 1, 0, 8, 4)
    imputed = fit_perforation_imputed(cases, ["x"], ["helper"], [], draws).rows.set_index("term").loc["x"]
    assert abs(complete["estimate"] - 1) > 4 * complete["std_error"]
    assert abs(imputed["estimate"] - 1) < 2.6 * imputed["std_error"]
    assert imputed["std_error"] < 0.1


def test_a_centre_that_never_recorded_a_variable_gets_the_others_values(gaps):
    """Nothing is known of its own level: no coefficient may be drawn for it, or all its sites run off together.

    Bone heights are uniform from 2 to 8 mm and smoking is a third each, whatever the centre. A set's mean height at the
    centre has a standard deviation of some 0.2 mm.
    """
    west = gaps["centre"].eq("west")
    blank = gaps.assign(rbh_mid_mm=gaps["rbh_mid_mm"].mask(west), smoking=gaps["smoking"].where(~west, "unknown"))
    for table in completed_sets(chain(blank), 1, 9, 0, 8, 3):
        assert table.loc[west, "rbh_mid_mm"].mean() == pytest.approx(5, abs=0.8)
        assert table.loc[west, "smoking"].value_counts(normalize=True).between(0.12, 0.6).all()


def test_every_unit_with_the_same_prediction_can_be_a_donor():
    """One predictor with two levels, so two predictions among 420 known: five fixed donors each would be all."""
    rng = np.random.default_rng(31)
    n = 600
    table = pd.DataFrame({"patient_id": range(n), "x": rng.normal(0, 1, n), "helper": rng.choice(["a", "b"], n)})
    table["x"] = table["x"].where(rng.random(n) > 0.3)
    outcome = {"event": rng.random(n) < 0.3}
    (filled,) = completed_sets(chain_of(table, ["x"], ["helper"], outcome, []), 1, 9, 0, 1, 3)
    assert filled.loc[table["x"].isna(), "x"].nunique() > 10 * DONORS


def test_what_a_patients_sites_tell_adds_up():
    """Smoking from perforations, by Bayes' theorem: 40 % smoke; 4 of 10 of their sites perforate, 2 of 10 of others'.

    The odds of smoking are 2/3 · 2^perforated · (3/4)^intact: after one perforation at a lone site 4/3, after none at
    four sites 0.21. By the share of sites perforated alone these would be 2.4 and 0.3. Three standard errors of the
    share among those imputed and of the coefficients it comes from, estimated from as many known.
    """
    rng = np.random.default_rng(32)
    n_patients, n_sets = 6000, 4
    size = rng.choice([1, 4], n_patients)
    patient = np.repeat(np.arange(n_patients), size)
    smokes = rng.random(n_patients) < 0.4
    perforated = rng.random(len(patient)) < np.where(smokes, 0.4, 0.2)[patient]
    hidden = rng.random(n_patients) < 0.5
    table = pd.DataFrame({"patient_id": patient, "smoking": np.where(smokes, "yes", "no")[patient]})
    table["smoking"] = table["smoking"].mask(hidden[patient])
    n_perforated = np.bincount(patient, weights=perforated)
    lines = chain_of(table, ["smoking"], [], {"perforation": perforated}, ["smoking"])
    sets = [
        t.groupby("patient_id")["smoking"].first().eq("yes").to_numpy()
        for t in completed_sets(lines, 1, 9, 0, n_sets, 1)
    ]
    share = np.mean(sets, axis=0)
    for n_sites, n_torn in ((1, 0), (1, 1), (4, 0), (4, 1), (4, 3)):
        odds = 2 / 3 * 2**n_torn * 0.75 ** (n_sites - n_torn)
        who = hidden & (size == n_sites) & (n_perforated == n_torn)
        truth = odds / (1 + odds)
        assert share[who].mean() == pytest.approx(truth, abs=3 * np.sqrt(2 * truth * (1 - truth) / who.sum()))


def test_a_separated_level_does_not_run_off():
    """All six patients with a perforation whose smoking is known smoke: another one probably, but not surely."""
    n = 120
    perforated = np.arange(n) < 10
    smokes = perforated | (np.arange(n) % 3 == 0)
    table = pd.DataFrame({"patient_id": range(n), "smoking": np.where(smokes, "yes", "no")})
    table["smoking"] = table["smoking"].mask((np.arange(n) % 5 < 2) & perforated)
    lines = chain_of(table, ["smoking"], [], {"perforation": perforated}, ["smoking"])
    filled = [t["smoking"][table["smoking"].isna()].eq("yes").mean() for t in completed_sets(lines, 1, 9, 0, 200, 1)]
    assert 0.8 < np.mean(filled) < 0.99


def test_a_level_known_alone_and_one_seen_once(gaps):
    """A column with one known level tells nothing and its gaps can only hold that level; no column of it is left."""
    septum = category("septum", np.where(np.arange(len(gaps)) % 2 == 0, "no", "unknown"))
    graft = category("graft", np.where(np.arange(len(gaps)) == 7, "allograft", "none"))
    cases = gaps.assign(septum=septum, graft=graft)
    outcome = {"perforation": cases["perforation"].eq("yes").to_numpy()}
    (table,) = completed_sets(chain_of(cases, [*TERMS, "septum", "graft"], [], outcome, OF_PATIENT), 1, 9, 0, 1, 2)
    assert table["septum"].eq("no").all()
    assert table["smoking"].notna().all()


def test_a_term_that_cannot_stand_in_the_model_keeps_its_row(gaps):
    asked = (gaps.assign(approach="guided", twin=2 * gaps["age_years"]), [*TERMS, "approach", "age_years", "twin"], [])
    draws = perforation_imputed_draws(*asked, OF_PATIENT, 5, 0, 2, 1)
    rows = fit_perforation_imputed(*asked, OF_PATIENT, draws).rows.set_index("term")
    assert "does not vary" in rows.loc["approach", "problem"]
    assert "follows from" in rows.loc["twin", "problem"]
    assert rows.loc[["rbh_mid_mm", "smoking[current]", "age_years"], "estimate"].notna().all()


def test_unknown_perforations_are_counted_and_what_nobody_knows_is_named(gaps):
    cases = gaps.assign(
        perforation=gaps["perforation"].mask(np.arange(len(gaps)) < 4, "unknown"), soft_tissue_mm=np.nan
    )
    asked = (cases, TERMS, [*HELPERS, "soft_tissue_mm"], OF_PATIENT)
    estimates = fit_perforation_imputed(*asked, perforation_imputed_draws(*asked, 5, 0, 2, 1))
    assert estimates.left_out[["reason", "n_sites"]].to_numpy().tolist() == [["perforation unknown", 4]]
    assert estimates.rows["n_sites"].eq(len(gaps) - 4).all()
    models = estimates.models.set_index("variable")
    assert models.loc["soft_tissue_mm", ["n_missing", "model"]].tolist() == [len(gaps) - 4, "left out: known nowhere"]


def drawn(gaps, *rows):
    """The answer pooled from draws written by hand: (set, estimate, variance, problem) of the height's log odds."""
    table = draws_table([(number, "rbh_mid_mm", b, v, v, problem) for number, b, v, problem in rows])
    return fit_perforation_imputed(gaps, TERMS, HELPERS, OF_PATIENT, table).rows.set_index("term")


def test_sets_without_a_finite_answer_are_counted(gaps):
    rows = drawn(gaps, (0, 1.0, 0.1, ""), (1, np.nan, np.nan, "no site used was perforated"))
    assert rows["problem"].eq("no finite answer in 1 imputed set of 2: no site used was perforated").all()
    assert "smoking[current]" in rows.index


def test_sets_that_disagree_beyond_any_interval(gaps):
    """Two sets and three patients: 1 / df = 1 / 1.00 + 1 / 0.0… by Barnard and Rubin, so less than 1."""
    few = gaps[gaps["patient_id"].isin(gaps["patient_id"].unique()[:3])].assign(smoking="unknown")
    few = few.assign(smoking=np.where(np.arange(len(few)) == 0, "never", "unknown"))
    row = drawn(few, (0, -9.0, 1e-4, ""), (1, 9.0, 1e-4, "")).loc["rbh_mid_mm"]
    assert "less than one degree of freedom" in row["problem"]
    assert np.isnan(row["estimate"])


def test_a_coefficient_beyond_its_unit_has_a_word(gaps):
    rows = drawn(gaps, (0, 40.0, 1.0, ""), (1, 41.0, 1.0, ""))
    assert rows.loc["rbh_mid_mm", "estimate"] == 40.5
    assert rows.loc["rbh_mid_mm", "problem"].startswith("beyond 15 log odds a unit")


def test_chunks_of_survival_do_not_matter(gaps):
    implants = follow_up(invented_visits(gaps, seed=23), gaps).implants
    asked = (implants, TERMS, HELPERS, OF_PATIENT, 5)
    parts = [survival_imputed_draws(*asked, first, n, 2) for first, n in ((0, 2), (2, 1))]
    pd.testing.assert_frame_equal(survival_imputed_draws(*asked, 0, 3, 2), pd.concat(parts, ignore_index=True))


def test_sets_vary_by_what_is_not_known_of_the_share_too():
    """50 known, 400 missing, nothing to tell them apart: the share imputed varies by p (1 - p) (1/50 + 1/400).

    Drawn with the share held fixed it would vary by a ninth of that. Of 400 sets the variance is known to 7 % (√(2 /
    399)); three times that.
    """
    septum = np.array(["yes"] * 20 + ["no"] * 30 + [None] * 400, object)
    table = pd.DataFrame({"patient_id": range(450), "septum": septum})
    lines = chain_of(table, ["septum"], [], {"event": np.zeros(450, bool)}, [])
    shares = [t["septum"].iloc[50:].eq("yes").mean() for t in completed_sets(lines, 1, 9, 0, 400, 1)]
    assert np.var(shares) == pytest.approx(0.4 * 0.6 * (1 / 50 + 1 / 400), rel=0.21)

"""The comparison's numbers against a second implementation: statsmodels, lifelines, and differences by patient."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from invented import invented_cases, invented_visits
from scipy.special import expit, logit

from liftseries.base.remarks import names_in
from liftseries.models.comparison.compared import asked_of, populations
from liftseries.models.comparison.drilling import fit_comparison_drilling
from liftseries.models.comparison.gain import fit_comparison_gain
from liftseries.models.comparison.perforation import fit_comparison_perforation
from liftseries.models.comparison.shares import balanced_means
from liftseries.models.comparison.survival import fit_comparison_survival
from liftseries.models.shared.follow_up import follow_up

WEIGHTS = ["overlap", "inverse_probability"]
ASKED = {"groups": "protocol", "reference": "A", "adjust_for": ["rbh_mid_mm", "smoking"], "weights": WEIGHTS}
STEP = 1e-4


@pytest.fixture(scope="module")
def cases():
    return invented_cases(90, seed=31).assign(smoking=lambda c: c["smoking"].cat.rename_categories(str))


@pytest.fixture(scope="module")
def x(cases):
    smoking = cases["smoking"].astype(str)
    columns = [cases["rbh_mid_mm"], smoking.eq("former"), smoking.eq("current")]
    return np.column_stack([np.ones(len(cases)), *columns]).astype(float)


def of(estimates, analysis, subset="all"):
    rows = estimates.rows
    return rows[rows["analysis"].eq(analysis) & rows["subset"].eq(subset)].set_index(["term", "method"])


def by_patient(estimate, patient):
    """Estimate, and √(K / (K - 1) Σ influence²) from central differences in each patient's weight."""
    codes, k = pd.factorize(patient)[0], patient.nunique()
    influence = []
    for one in range(k):
        mine = np.where(codes == one, STEP, 0.0)
        influence.append((estimate(1 + mine) - estimate(1 - mine)) / (2 * STEP))
    influence = np.array(influence)
    return estimate(np.ones(len(codes))), np.sqrt(k / (k - 1) * (influence**2).sum(axis=0))


def logistic(y, x, w):
    return sm.GLM(y, x, family=sm.families.Binomial(), freq_weights=w).fit(tol=1e-14, maxiter=60).params


def weights(kind, group, x, w):
    e = expit(x @ logistic(group, x, w))
    own = np.where(group == 1, e, 1 - e)
    return w * (1 - own if kind == "overlap" else 1 / own)


@pytest.mark.parametrize("method", ["g_computation", *WEIGHTS])
def test_risks_and_contrasts_against_statsmodels(cases, x, method):
    group, y = cases["protocol"].eq("B").to_numpy(float), cases["perforation"].eq("yes").to_numpy(float)

    def estimate(w):
        if method == "g_computation":
            beta = logistic(y, np.column_stack([x, group]), w)
            risks = [np.average(expit(np.column_stack([x, np.full(len(x), g)]) @ beta), weights=w) for g in (0, 1)]
        else:
            v = weights(method, group, x, w)
            risks = [np.average(y[group == g], weights=v[group == g]) for g in (0, 1)]
        return np.array([*risks, risks[1] - risks[0], np.log(risks[1] / risks[0])])

    value, std_error = by_patient(estimate, cases["patient_id"])
    rows = of(fit_comparison_perforation(cases, **ASKED), "comparison.perforation")
    found = rows.loc[[(term, method) for term in ("risk[A]", "risk[B]", "difference[B]", "ratio[B]")]]
    np.testing.assert_allclose(found["estimate"].astype(float), value, rtol=1e-7)
    np.testing.assert_allclose(found["std_error"].astype(float), std_error, rtol=1e-6)
    assert found["df"].isna().all()
    risk = found.iloc[1]
    half = 1.959964 * risk["std_error"] / (risk["estimate"] * (1 - risk["estimate"]))
    assert risk["conf_high"] == pytest.approx(expit(logit(risk["estimate"]) + half), rel=1e-6)


def test_errors_are_those_of_a_bootstrap_of_patients():
    """Of 400 resamples the standard deviation is known to 3.5 %."""
    cases = invented_cases(200, seed=35)
    rng, of_patient = np.random.default_rng(1), list(cases.groupby("patient_id").indices.values())

    def differences(table):
        asked = asked_of(table, *ASKED.values())
        population = next(populations(table, {}, asked, ["all"]))
        torn = population.sites["perforation"].eq("yes").to_numpy(float)
        risks = [balanced_means(population, torn, method).value for method in WEIGHTS]
        return [of_b - of_a for of_a, of_b in risks]

    drawn = []
    for _ in range(400):
        chosen = rng.integers(0, len(of_patient), len(of_patient))
        rows = np.concatenate([of_patient[k] for k in chosen])
        copy = np.repeat(np.arange(len(chosen)), [len(of_patient[k]) for k in chosen])
        drawn.append(differences(cases.iloc[rows].assign(patient_id=copy)))
    rows = of(fit_comparison_perforation(cases, **ASKED), "comparison.perforation").loc["difference[B]"]
    assert rows.loc[WEIGHTS, "std_error"].tolist() == pytest.approx(np.std(drawn, axis=0, ddof=1), rel=0.1)


def test_balance_and_sample_by_hand(cases, x):
    group = cases["protocol"].eq("B").to_numpy(float)
    estimates = fit_comparison_perforation(cases, **ASKED)
    w = weights("overlap", group, x, np.ones(len(x)))
    balance = of(estimates, "comparison.balance", "group=B")
    smd = of(estimates, "comparison.balance", "group=B")["estimate"]
    heights = [cases.loc[group == g, "rbh_mid_mm"].to_numpy() for g in (0, 1)]
    pooled = np.sqrt((heights[0].var(ddof=1) + heights[1].var(ddof=1)) / 2)
    assert smd["rbh_mid_mm", "crude"] == pytest.approx((heights[1].mean() - heights[0].mean()) / pooled)
    assert smd["rbh_mid_mm", "overlap"] == pytest.approx(0, abs=1e-9)
    p = [x[group == g, 2].mean() for g in (0, 1)]
    pooled = np.sqrt((p[0] * (1 - p[0]) + p[1] * (1 - p[1])) / 2)
    assert smd["smoking[former]", "crude"] == pytest.approx((p[1] - p[0]) / pooled)
    assert balance["scale"].eq("smd").all()
    sample = of(estimates, "comparison.sample", "group=B")["estimate"]
    sums = pd.Series(w[group == 1]).groupby(cases.loc[group == 1, "patient_id"].to_numpy()).sum()
    assert sample["effective_patients", "overlap"] == pytest.approx(sums.sum() ** 2 / (sums**2).sum())
    assert sample["effective_sites", "overlap"] == pytest.approx(w[group == 1].sum() ** 2 / (w[group == 1] ** 2).sum())


def test_evalue_and_detectable_come_from_the_headline(cases):
    """VanderWeele and Ding 2017: a risk ratio of 3.9 with limit 1.8 has E-values 7.2627 and 3.0 (their table, 7.26)."""
    estimates = fit_comparison_perforation(cases, **ASKED)
    ratio = of(estimates, "comparison.perforation").loc["ratio[B]", "overlap"]
    rr = max(np.exp(ratio["estimate"]), np.exp(-ratio["estimate"]))
    evalue = of(estimates, "comparison.evalue")["estimate"]
    assert evalue["ratio[B]", "risk_ratio"] == pytest.approx(rr + np.sqrt(rr * (rr - 1)))
    holds_one = ratio["conf_low"] <= 0 <= ratio["conf_high"]
    assert (evalue["limit[B]", "risk_ratio"] == 1) == holds_one
    difference = of(estimates, "comparison.perforation").loc["difference[B]", "overlap"]
    detectable = of(estimates, "comparison.detectable").loc["difference[B]", "power"]
    assert detectable["estimate"] == pytest.approx(2.802 * difference["std_error"])


# ── survival, gain, depth ───────────────────────────────────────────────────────────────────────────────────


def test_weighted_survival_against_lifelines(cases, x):
    from lifelines import KaplanMeierFitter
    from lifelines.utils import restricted_mean_survival_time

    implants = follow_up(invented_visits(cases, 32), cases).implants
    smoking = implants["smoking"].astype(str)
    columns = [np.ones(len(implants)), implants["rbh_mid_mm"], smoking.eq("former"), smoking.eq("current")]
    group = implants["protocol"].eq("B").to_numpy(float)
    w = weights("overlap", group, np.column_stack(columns).astype(float), np.ones(len(group)))
    rows = fit_comparison_survival(implants, cases, [36], **ASKED)
    for level, g in (("A", 0), ("B", 1)):
        mine = group == g
        curve = KaplanMeierFitter().fit(implants["months"][mine], implants["failed"][mine], weights=w[mine])
        found = of(rows, "comparison.survival").loc[(f"survival[{level}] at 36", "overlap"), "estimate"]
        assert found == pytest.approx(float(curve.survival_function_at_times(36).iloc[0]), rel=1e-9)
        area = of(rows, "comparison.rmst").loc[(f"rmst[{level}] at 36", "overlap"), "estimate"]
        assert area == pytest.approx(restricted_mean_survival_time(curve, 36), rel=1e-9)


def test_curves_are_weighted_and_numbers_at_risk_are_not(cases):
    implants = follow_up(invented_visits(cases, 32), cases).implants
    found = fit_comparison_survival(implants, cases, [36], **ASKED)
    start = found.at_risk[found.at_risk["subset"].eq("all") & found.at_risk["months"].eq(0)]
    assert start.set_index("group")["n_at_risk"].to_dict() == implants["protocol"].value_counts().to_dict()
    last = 12 * int(implants["months"].max() // 12)
    assert set(found.at_risk["months"]) == {*range(0, last + 1, 12), 36}  # every year, and the months asked for
    assert set(found.curves["method"]) == {"crude", *WEIGHTS}
    drop = found.curves.groupby(["subset", "method", "group"])["survival"]
    assert drop.apply(lambda s: s.is_monotonic_decreasing and s.iloc[0] > 0.9).all()


def test_a_weighted_risk_of_a_group_without_an_event_says_why_it_has_no_interval(cases):
    spared = cases.assign(perforation=cases["perforation"].where(cases["protocol"].ne("B"), "no"))
    risk = of(fit_comparison_perforation(spared, **ASKED), "comparison.perforation").loc[("risk[B]", "overlap")]
    assert (risk["estimate"], np.isnan(risk["conf_high"])) == (0, True)
    assert names_in(risk["problem"]) == {"none_in_group_with_event"}


def test_gain_is_the_mixed_models_coefficient_and_its_means_are_carried_to_a_year(cases, x):
    """Against statsmodels' MixedLM (variances to 1e-4, as in the references), and the carried means by hand."""
    visits = invented_visits(cases, 33)
    rows = of(fit_comparison_gain(visits, cases, **ASKED), "comparison.gain")
    used = visits[visits["bone_height_mm"].notna()].merge(cases, on="site_id")
    gain = used["bone_height_mm"] - used["rbh_mid_mm"]
    place = used["site_id"].map(dict(zip(cases["site_id"], range(len(cases)), strict=True))).to_numpy()
    group = used["protocol"].eq("B").to_numpy(float)
    columns = np.column_stack([x[place], used["months"], group])
    nested = {"site": "0 + C(site_id)"}
    fit = sm.MixedLM.from_formula(
        "g ~ 0 + a0 + a1 + a2 + a3 + m + b",
        pd.DataFrame(columns, columns=["a0", "a1", "a2", "a3", "m", "b"]).assign(
            g=gain.to_numpy(), patient_id=used["patient_id"].to_numpy(), site_id=used["site_id"].to_numpy()
        ),
        groups="patient_id",
        re_formula="1",
        vc_formula=nested,
    ).fit(reml=True)
    assert rows.loc[("difference[B]", "g_computation"), "estimate"] == pytest.approx(fit.fe_params["b"], abs=1e-3)
    slope = fit.fe_params["m"]
    carried = (gain - slope * (used["months"] - 12)).groupby(place).mean()
    w = weights("overlap", cases["protocol"].eq("B").to_numpy(float), x, np.ones(len(x)))[carried.index]
    of_b = cases["protocol"].eq("B").to_numpy()[carried.index]
    apart = np.average(carried[of_b], weights=w[of_b]) - np.average(carried[~of_b], weights=w[~of_b])
    assert rows.loc[("difference[B]", "overlap"), "estimate"] == pytest.approx(apart, abs=1e-3)


def test_errors_of_the_gain_refit_everything():
    """Against the changes that a second copy of a patient makes, of every fifth; rough, as 2 is no weight near 1."""
    cases = invented_cases(60, seed=31)
    visits = invented_visits(cases, 33)

    def weighted(copies):
        parts = [(cases, visits)]
        for patient in copies:
            again = cases[cases["patient_id"].eq(patient)].assign(patient_id=f"{patient}x")
            of_site = visits[visits["site_id"].isin(again["site_id"])]
            parts.append(
                (again.assign(site_id=again["site_id"] + "x"), of_site.assign(site_id=of_site["site_id"] + "x"))
            )
        both = (pd.concat([part[k] for part in parts], ignore_index=True) for k in (0, 1))
        tables = list(both)
        return of(fit_comparison_gain(tables[1], tables[0], **ASKED), "comparison.gain")["estimate"]

    plain = weighted([])
    patients = cases["patient_id"].unique()
    moved = pd.DataFrame([weighted([patient]) - plain for patient in patients[::5]])
    rows = of(fit_comparison_gain(visits, cases, **ASKED), "comparison.gain")
    about = np.sqrt((moved**2).sum() * len(patients) / len(patients[::5]))
    np.testing.assert_allclose(about.to_numpy(float), rows["std_error"].astype(float), rtol=0.25)


def test_depth_errors_and_shares_of_the_drilling(cases, x):
    rows = fit_comparison_drilling(cases, **ASKED)
    group = cases["protocol"].eq("B").to_numpy(float)
    w = weights("overlap", group, x, np.ones(len(x)))
    error = (cases["achieved_last_mm"] - cases["planned_last_mm"]).to_numpy()
    for analysis, y in (("comparison.depth_error", error), ("comparison.depth_error_size", np.abs(error))):
        apart = np.subtract(*(np.average(y[group == g], weights=w[group == g]) for g in (1, 0)))
        assert of(rows, analysis).loc[("difference[B]", "overlap"), "estimate"] == pytest.approx(apart, rel=1e-7)
    three = cases[["first_too_deep", "advance_too_large", "overdrilled"]]
    judged = three.notna().all(axis=1)
    kept = ~three[judged].astype(bool).any(axis=1)
    found = of(rows, "comparison.adherence").loc[("risk[B]", "crude")]
    mine = cases.loc[judged, "protocol"].eq("B")
    assert found["estimate"] == pytest.approx(kept[mine].mean())
    assert found["n_events"] == kept[mine].sum()
    deeper = of(rows, "comparison.deeper").loc[("risk[B]", "crude")]
    ended = cases.loc[cases["protocol"].eq("B") & cases["ended"].notna(), "ended"]
    assert deeper["estimate"] == pytest.approx(ended.eq("deeper").mean())


# ── tables ──────────────────────────────────────────────────────────────────────────────────────────────────


def test_tables_count_every_site_once(cases):
    found = fit_comparison_perforation(
        cases.assign(operator=["a", "b", None] * (len(cases) // 3) + ["a"] * (len(cases) % 3)), **ASKED
    )
    assert found.entangled["n_sites"].sum() == len(cases)
    assert set(found.entangled["operator"]) == {"a", "b", "unknown"}
    histogram = found.propensity[found.propensity["subset"].eq("all") & found.propensity["of_group"].eq("B")]
    assert histogram.groupby("group")["n_sites"].sum().to_dict() == cases["protocol"].value_counts().to_dict()
    assert set(found.propensity.columns) == {"subset", "of_group", "group", "low", "high", "n_sites"}
    planned = cases["as_drilled"].eq("plan") & cases["protocol"].eq("B")
    assert found.fallen_out.set_index("group").loc["B", "n_as_planned"] == planned.sum()
    traits = found.characteristics
    heights = traits[traits["column"].eq("rbh_mid_mm")].set_index("subset")
    apart = heights.loc["protocol=B", "mean"] - heights.loc["protocol=A", "mean"]
    pooled = np.sqrt((heights.loc["protocol=B", "sd"] ** 2 + heights.loc["protocol=A", "sd"] ** 2) / 2)
    assert heights.loc["protocol=B", "smd"] == pytest.approx(apart / pooled)
    assert heights.loc[["all", "protocol=A"], "smd"].isna().all()

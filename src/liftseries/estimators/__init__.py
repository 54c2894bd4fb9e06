"""Arrays in, numbers out: the estimators that the questions share. Know no table and no plan.

**Our own GEE, Cox, Kaplan-Meier and REML.** *Situation:* no library has a Kaplan-Meier interval clustered in patients;
the Efron sandwich is off in lifelines and statsmodels (up to 1 %), MixedLM's standard errors drift on unbalanced data
and a zero variance does not converge. *Choice:* four short estimators from cumulative and cluster sums. *Rivals:*
statsmodels' GEE (equal to ours to 1e-10, two seconds more to import, no word on separation); lme4 or survival through R
(a second language to install). *Consequence:* `tests/against_r/` and the libraries as second implementations hold them;
Wilson and exact limits stay with statsmodels.

**Our own Firth.** *Situation:* penalised odds and hazards are needed in every study, and their jackknife refits the
model once a patient. *Choice:* 200 lines in `firth.py` and `firth_cox.py`, compared with logistf, firthmodels and brute
force. *Rival:* firthmodels, which is right, but brings scikit-learn, takes five seconds to import, fits one model at a
time and has Breslow ties only. *Consequence:* it stays in the tests as a second implementation.

**Below 50 patients every GEE and mixed model refers to t.** *Situation:* the contract asks it of `perforation.gee`.
*Choice:* the clustered `perforation.rate` (bias-reduced, K - 1), `gain.mixed` and `depth.agreement` (K - p) follow, and
`df` says so; tests/benchmarks/few_clusters.py shows why. *Rival:* a normal reference where the contract is silent, too
narrow there. *Consequence:* Cox stays with the normal, as R's `coxph(cluster =)`.
"""

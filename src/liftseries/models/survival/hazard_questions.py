"""How long implants stay: its questions on hazards and on times to failure."""

from liftseries.models.shared.question import Analysis, Draws, Leaves, Question

PENALISED = {
    "profile": "Firth's penalised Cox model, profile limits, implants taken as independent",
    "jackknife": "Firth's penalised Cox model, patients left out one after the other",
    "profile_or_jackknife": "Firth's penalised Cox model, the wider of profile and jackknife, limit by limit",
    "first_terms": "Firth's penalised Cox model of the plan's first terms alone, as many as the failures carry, the "
    "wider of profile and jackknife",
}
COX_MODEL = "Cox model, Efron ties, patient-clustered sandwich"
CORRECTED = f"{COX_MODEL}, the variance times m / (m - 1) and never below the model's own, t(m - 1)"
WEIBULL = {
    "weibull": "Weibull accelerated failure time, interval-censored, patient-clustered, no standard error below the "
    "model's own"
}
STAYS, RATIOS = "How many implants are in function?", "What goes with implant failure?"
OF_GAIN = "Does bone gained by the landmark go with later failure?"
BEHIND = "liftseries.models.survival.behind"
MONTHS = {"months": "survival_months"}
TERMS = {"terms": "survival_terms"}
IMPLANTS = {"implants": "implants"}


COX = Question(
    name="survival_cox",
    says="hazards",
    function="liftseries.models.survival.cox:fit_survival_cox",
    reads=IMPLANTS,
    asks=TERMS,
    fits=("survival.cox",),
    analyses=(
        Analysis(
            "survival.cox",
            "Cox model, Efron ties, errors clustered in patients",
            {"sandwich": COX_MODEL, "corrected": CORRECTED},
            headline=("corrected",),
            answers=RATIOS,
            behind=f"{BEHIND}:hazards",
        ),
    ),
)
FIRTH_COX = Question(
    name="survival_firth_cox",
    says="penalised hazards",
    function="liftseries.models.survival.firth_cox:fit_survival_firth_cox",
    reads=IMPLANTS,
    asks=TERMS,
    fits=("survival.firth_cox", "survival.firth_cox.first_terms"),
    analyses=(
        Analysis(
            "survival.firth_cox",
            "the same model penalised: profile interval, a jackknife, and the wider of both",
            PENALISED,
            headline=("profile_or_jackknife", "first_terms"),
            answers=RATIOS,
            behind=f"{BEHIND}:hazards",
        ),
    ),
)
IMPUTED = Question(
    name="survival_imputed",
    says="hazards with missing terms imputed",
    function="liftseries.models.survival.imputed:fit_survival_imputed",
    reads=IMPLANTS,
    asks={**TERMS, "auxiliary": "imputation.auxiliary", "patient_columns": "patient_columns"},
    analyses=(
        Analysis(
            "survival.imputed",
            "the same with missing terms imputed, pooled by Rubin's rules",
            {"pooled": f"imputations by chained equations, Rubin's rules, Barnard-Rubin df; {COX_MODEL}"},
            answers=RATIOS,
            behind=f"{BEHIND}:imputed",
        ),
    ),
    draws=Draws(
        function="liftseries.models.survival.imputed:survival_imputed_draws",
        n="imputation.sets",
        a_job=20,
        asks={"iterations": "imputation.iterations", "seed": "seed"},
        events="liftseries.models.shared.outcomes:n_failures",
        fewest=5,
    ),
    leaves=(
        Leaves(
            "survival_imputation",
            "models",
            "variable level_of n_missing model predictors",
        ),
    ),
)
INTERVAL = Question(
    name="survival_interval",
    says="failures between visits",
    function="liftseries.models.survival.interval:fit_survival_interval",
    reads=IMPLANTS,
    asks=TERMS | MONTHS,
    fits=("survival.interval",),
    analyses=(
        Analysis(
            "survival.interval",
            "failures known only to lie between two visits: Weibull model",
            WEIBULL,
            behind=f"{BEHIND}:interval",
        ),
        Analysis(
            "survival.interval_curve",
            "survival by that model",
            WEIBULL,
            answers=STAYS,
            behind=f"{BEHIND}:interval_curve",
        ),
    ),
)
PH = Question(
    name="survival_ph",
    says="proportional hazards",
    function="liftseries.models.survival.ph:fit_survival_ph",
    reads=IMPLANTS,
    asks=TERMS,
    analyses=(
        Analysis(
            "survival.ph",
            "whether hazard ratios stay the same over time",
            {
                "score": "score test, Kaplan-Meier time, implants taken as independent",
                "score_clustered": "score test, Kaplan-Meier time, patient-clustered",
            },
            headline=("score_clustered",),
            behind=f"{BEHIND}:hazards",
        ),
    ),
    leaves=(Leaves("survival_ph_residuals", "residuals", "term months residual smooth coefficient"),),
)
GAIN = Question(
    name="survival_gain",
    says="bone gain and later failure",
    function="liftseries.models.survival.gain:fit_survival_gain",
    reads={"visits": "visits", "implants": "implants", "cases": "cases"},
    asks={**TERMS, "landmark_months": "landmark_months"},
    analyses=(
        Analysis(
            "survival.gain",
            "bone gain and failure after a landmark, so that no implant is credited with living until it was measured",
            {"sandwich": f"{COX_MODEL}, from the landmark on", "corrected": CORRECTED, **PENALISED},
            headline=("profile_or_jackknife", "first_terms", "corrected"),
            answers=OF_GAIN,
            behind=f"{BEHIND}:landmark",
        ),
    ),
)

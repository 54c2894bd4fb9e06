"""How long implants stay: its questions."""

from liftseries.disclosure.declared import Rule, TableRules
from liftseries.models.shared.question import ONE_SIDED, Analysis, Draws, Leaves, Question

TITLE = "How long implants stay"
JACKKNIFE = "patient-clustered infinitesimal jackknife"
COX = "Cox model, Efron ties, patient-clustered sandwich"
WEIBULL = {
    "weibull": "Weibull accelerated failure time, interval-censored, patient-clustered, no standard error below the "
    "model's own"
}
BEHIND = "liftseries.models.survival.behind"
MONTHS = {"months": "survival_months"}
TERMS = {"terms": "survival_terms"}
IMPLANTS = {"implants": "implants"}

QUESTIONS = (
    Question(
        name="survival_km",
        says="Kaplan-Meier",
        function="liftseries.models.survival.km:fit_survival_km",
        reads=IMPLANTS,
        asks=MONTHS,
        by=("rbh_band", "approach", "protocol"),
        analyses=(
            Analysis(
                "survival.km",
                "Kaplan-Meier survival of the implants, clustered in patients",
                {"infinitesimal_jackknife": f"Kaplan-Meier, {JACKKNIFE}, log-log interval", **ONE_SIDED},
                behind=f"{BEHIND}:by_month",
                left_out=f"{BEHIND}:level_left_out",
            ),
        ),
        leaves=(
            Leaves(
                "survival_curves",
                "curves",
                "subset months survival conf_low conf_high",
                TableRules(
                    rules=(Rule(("survival", "conf_low", "conf_high"), behind=1, given_away=True),),
                    labels=("months",),
                    behind=f"{BEHIND}:curve",
                    coarsened=f"{BEHIND}:curves_at_months",
                ),
            ),
            Leaves(
                "survival_at_risk",
                "at_risk",
                "subset months n_at_risk n_failed n_censored",
                TableRules(("n_at_risk", "n_failed", "n_censored"), labels=("months",), behind=f"{BEHIND}:at_risk"),
            ),
        ),
    ),
    Question(
        name="survival_life_table",
        says="life table",
        function="liftseries.models.survival.life_table:fit_survival_life_table",
        reads=IMPLANTS,
        analyses=(
            Analysis(
                "survival.life_table",
                "yearly actuarial life table",
                {"actuarial": f"actuarial life table, yearly, {JACKKNIFE}, log-log interval"},
                behind=f"{BEHIND}:life_table",
            ),
        ),
        leaves=(
            Leaves(
                "life_table",
                "table",
                "start_months end_months n_entering n_censored n_failed n_effective risk survival",
                TableRules(
                    ("n_entering", "n_censored", "n_failed"),
                    (
                        Rule(("n_effective",), ("n_entering", "n_censored")),
                        Rule(("risk",), ("n_entering", "n_censored", "n_failed")),
                        Rule(("survival", "std_error", "conf_low", "conf_high"), given_away=True),
                    ),
                    labels=("start_months", "end_months"),
                    behind=f"{BEHIND}:life_table_year",
                ),
            ),
        ),
    ),
    Question(
        name="survival_cox",
        says="hazards",
        function="liftseries.models.survival.cox:fit_survival_cox",
        reads=IMPLANTS,
        asks=TERMS,
        analyses=(
            Analysis(
                "survival.cox",
                "Cox model, Efron ties, errors clustered in patients",
                {"sandwich": COX},
                behind=f"{BEHIND}:hazards",
                left_out=f"{BEHIND}:hazards_left_out",
            ),
        ),
    ),
    Question(
        name="survival_firth_cox",
        says="penalised hazards",
        function="liftseries.models.survival.firth_cox:fit_survival_firth_cox",
        reads=IMPLANTS,
        asks=TERMS,
        analyses=(
            Analysis(
                "survival.firth_cox",
                "the same model penalised: profile interval, and a jackknife",
                {
                    "profile": "Firth's penalised Cox model, profile limits, implants taken as independent",
                    "jackknife": "Firth's penalised Cox model, patients left out one after the other",
                },
                behind=f"{BEHIND}:hazards",
                left_out=f"{BEHIND}:hazards_left_out",
            ),
        ),
    ),
    Question(
        name="survival_imputed",
        says="hazards with missing terms imputed",
        function="liftseries.models.survival.imputed:fit_survival_imputed",
        reads=IMPLANTS,
        asks={**TERMS, "auxiliary": "imputation.auxiliary", "patient_columns": "patient_columns"},
        analyses=(
            Analysis(
                "survival.imputed",
                "the same with missing terms imputed, pooled by Rubin's rules",
                {"pooled": f"imputations by chained equations, Rubin's rules, Barnard-Rubin df; {COX}"},
                behind=f"{BEHIND}:imputed",
            ),
        ),
        draws=Draws(
            function="liftseries.models.survival.imputed:survival_imputed_draws",
            n="imputation.sets",
            a_job=10,
            asks={"iterations": "imputation.iterations", "seed": "seed"},
        ),
        leaves=(
            Leaves(
                "survival_imputation",
                "models",
                "variable level_of n_missing model predictors",
                TableRules(("n_missing",), behind=f"{BEHIND}:imputation"),
            ),
        ),
    ),
    Question(
        name="survival_interval",
        says="failures between visits",
        function="liftseries.models.survival.interval:fit_survival_interval",
        reads=IMPLANTS,
        asks=TERMS | MONTHS,
        analyses=(
            Analysis(
                "survival.interval",
                "failures known only to lie between two visits: Weibull model",
                WEIBULL,
                behind=f"{BEHIND}:interval",
                left_out=f"{BEHIND}:interval_left_out",
            ),
            Analysis(
                "survival.interval_curve",
                "survival by that model",
                WEIBULL,
                behind=f"{BEHIND}:interval_curve",
            ),
        ),
    ),
    Question(
        name="survival_turnbull",
        says="survival between visits",
        function="liftseries.models.survival.turnbull:fit_survival_turnbull",
        reads=IMPLANTS,
        asks=MONTHS,
        analyses=(
            Analysis(
                "survival.turnbull",
                "failures known only to lie between two visits, without a model",
                {"bootstrap": "Turnbull, mass spread evenly within its interval; patients resampled, log-log interval"},
                behind=f"{BEHIND}:between_visits",
                left_out=f"{BEHIND}:between_visits_left_out",
            ),
        ),
        draws=Draws(
            function="liftseries.models.survival.turnbull:turnbull_draws",
            n="resamples",
            a_job=500,
            asks={"seed": "seed"},
        ),
        leaves=(Leaves("survival_turnbull_curves", "curves", "months survival conf_low conf_high"),),
    ),
    Question(
        name="survival_competing",
        says="death competing",
        function="liftseries.models.survival.competing:fit_survival_competing",
        reads=IMPLANTS,
        asks=MONTHS,
        by=("rbh_band", "approach", "protocol"),
        analyses=(
            Analysis(
                "survival.competing",
                "failure with death competing",
                {"infinitesimal_jackknife": f"Aalen-Johansen, death competing, {JACKKNIFE}, log-log interval"},
                behind=f"{BEHIND}:by_month",
                left_out=f"{BEHIND}:level_left_out",
            ),
        ),
        leaves=(Leaves("survival_competing_curves", "curves", "subset months failure conf_low conf_high death"),),
    ),
    Question(
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
                behind=f"{BEHIND}:hazards",
                left_out=f"{BEHIND}:hazards_left_out",
            ),
        ),
        leaves=(Leaves("survival_ph_residuals", "residuals", "term months residual smooth coefficient"),),
    ),
    Question(
        name="survival_rmst",
        says="months in function",
        function="liftseries.models.survival.rmst:fit_survival_rmst",
        reads=IMPLANTS,
        asks=MONTHS,
        by=("approach", "protocol"),
        analyses=(
            Analysis(
                "survival.rmst",
                "mean months in function up to a horizon",
                {
                    "infinitesimal_jackknife": f"area under Kaplan-Meier, {JACKKNIFE}, interval on the log of the "
                    "months lost"
                },
                behind=f"{BEHIND}:by_month",
                left_out=f"{BEHIND}:level_left_out",
            ),
            Analysis(
                "survival.rmst_difference",
                "and their differences",
                {"infinitesimal_jackknife": f"difference of areas under Kaplan-Meier, {JACKKNIFE}"},
                behind=f"{BEHIND}:months_apart",
            ),
        ),
    ),
    Question(
        name="survival_patient",
        says="first failures",
        function="liftseries.models.survival.patient:fit_survival_patient",
        reads=IMPLANTS,
        asks=MONTHS,
        analyses=(
            Analysis(
                "survival.patient",
                "a patient's first failure",
                {
                    "infinitesimal_jackknife": "Kaplan-Meier over patients, first failure; followed until the first of "
                    "a patient's implants fails or falls out"
                },
                behind=f"{BEHIND}:first_failure",
            ),
        ),
    ),
    Question(
        name="survival_gain",
        says="bone gain and later failure",
        function="liftseries.models.survival.gain:fit_survival_gain",
        reads={"visits": "visits", "implants": "implants", "cases": "cases"},
        asks={**TERMS, "landmark_months": "landmark_months"},
        analyses=(
            Analysis(
                "survival.gain",
                "bone gain and failure after a landmark, so that no implant is credited with living until it was "
                "measured",
                {"sandwich": f"{COX}, from the landmark on"},
                behind=f"{BEHIND}:landmark",
                left_out=f"{BEHIND}:landmark_left_out",
            ),
        ),
    ),
    Question(
        name="complications",
        says="complications",
        function="liftseries.models.survival.complications:count_complications",
        reads={"visits": "visits", "cases": "cases"},
        leaves=(
            Leaves(
                "complications",
                "",
                "complication n_sites n_patients n_asked share",
                TableRules(
                    ("n_sites", "n_patients", "n_asked"),
                    (Rule(("share",), ("n_sites", "n_asked")),),
                    behind=f"{BEHIND}:complication",
                ),
            ),
        ),
    ),
)

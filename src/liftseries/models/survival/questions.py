"""How long implants stay: its questions."""

from liftseries.disclosure.declared import ESTIMATE_NEEDS, Rule, TableRules
from liftseries.models.shared.question import Analysis, Draws, Leaves, Question
from liftseries.models.survival import follow_up_questions as follow_up
from liftseries.models.survival import hazard_questions as hazards
from liftseries.models.survival.hazard_questions import BEHIND, IMPLANTS, MONTHS, STAYS

TITLE = "How long implants stay"
JACKKNIFE = "patient-clustered infinitesimal jackknife"
FAILING = "the variance times m / (m - 1) for the m patients with a failure by then; a bound where at most one has one"

FAILED = "How many implants have failed, the patient's death competing?"
FUNCTION = "How many months is an implant in function?"

QUESTIONS = (
    follow_up.COMPLETENESS,
    follow_up.TIME,
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
                {
                    "infinitesimal_jackknife": f"Kaplan-Meier, {JACKKNIFE}, log-log interval",
                    "corrected": f"Kaplan-Meier, {JACKKNIFE}, log-log interval, {FAILING}",
                },
                headline=("corrected",),
                core=("corrected",),
                answers=STAYS,
                behind=f"{BEHIND}:by_month",
            ),
        ),
        leaves=(
            Leaves(
                "survival_curves",
                "curves",
                "subset months survival conf_low conf_high",
                TableRules(
                    rules=(
                        Rule(("survival",), behind=ESTIMATE_NEEDS, given_away=True),
                        Rule(("conf_low", "conf_high"), behind=ESTIMATE_NEEDS, given_away=True, interval=True),
                    ),
                    labels=("months",),
                    behind=f"{BEHIND}:curve",
                    coarsened=f"{BEHIND}:curves_at_months",
                ),
            ),
            Leaves(
                "survival_at_risk",
                "at_risk",
                "subset months n_at_risk n_failed n_censored",
                TableRules(
                    ("n_at_risk", "n_failed", "n_censored"),
                    labels=("months",),
                    behind=f"{BEHIND}:at_risk",
                    coarsened=f"{BEHIND}:at_planned_months",
                ),
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
                answers=STAYS,
                behind=f"{BEHIND}:life_table",
            ),
        ),
        leaves=(
            Leaves(
                "life_table",
                "table",
                "start_months end_months n_entering n_censored n_failed n_effective risk survival",
            ),
        ),
    ),
    hazards.COX,
    hazards.FIRTH_COX,
    hazards.IMPUTED,
    hazards.INTERVAL,
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
                answers=STAYS,
                behind=f"{BEHIND}:between_visits",
            ),
        ),
        draws=Draws(
            function="liftseries.models.survival.turnbull:turnbull_draws",
            n="resamples",
            a_job=1000,
            asks={"seed": "seed"},
            events="liftseries.models.shared.outcomes:n_failures",
            fewest=100,
        ),
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
                {
                    "infinitesimal_jackknife": f"Aalen-Johansen, death competing, {JACKKNIFE}, log-log interval",
                    "corrected": f"Aalen-Johansen, death competing, {JACKKNIFE}, log-log interval, {FAILING}",
                },
                headline=("corrected",),
                answers=FAILED,
                behind=f"{BEHIND}:by_month",
            ),
        ),
    ),
    hazards.PH,
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
                    "months lost",
                    "corrected": f"area under Kaplan-Meier, {JACKKNIFE}, interval on the log of the months "
                    f"lost, {FAILING}",
                },
                headline=("corrected",),
                answers=FUNCTION,
                behind=f"{BEHIND}:by_month",
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
                core=("infinitesimal_jackknife",),
                behind=f"{BEHIND}:first_failure",
            ),
        ),
    ),
    hazards.GAIN,
    Question(
        name="failed_implants",
        says="the failed implants",
        function="liftseries.models.survival.failures:failed_implants",
        reads=IMPLANTS,
        leaves=(Leaves("failed_implants", "", "rbh_mid_mm months smoking"),),
    ),
    follow_up.COMPLICATIONS,
)

"""What bone was gained: its questions."""

from liftseries.disclosure.declared import Rule, TableRules
from liftseries.models.shared.question import Analysis, Leaves, Question

TITLE = "What bone was gained"
BEHIND = "liftseries.models.gain.behind"

QUESTIONS = (
    Question(
        name="gain_mixed",
        says="mixed model",
        function="liftseries.models.gain.mixed:fit_gain_mixed",
        reads={"visits": "visits", "cases": "cases"},
        asks={"terms": "gain_terms"},
        fits=("gain.mixed",),
        analyses=(
            Analysis(
                "gain.mixed",
                "bone gain, REML, intercepts for the patient and the site within the patient",
                {"reml": "linear mixed model, REML, intercepts for the patient and the site within the patient"},
                behind=f"{BEHIND}:mixed",
                left_out=f"{BEHIND}:left_out",
            ),
        ),
        leaves=(
            Leaves(
                "gain_variances",
                "variances",
                "patient_sd_mm site_sd_mm residual_sd_mm n_visits",
                TableRules(
                    ("n_visits",),
                    (Rule(("patient_sd_mm", "site_sd_mm", "residual_sd_mm"), behind=1),),
                    behind=f"{BEHIND}:variances",
                ),
            ),
            Leaves(
                "gain_by_visit",
                "by_visit",
                "months n mean sd",
                TableRules(("n",), (Rule(("mean", "sd"), behind=1),), labels=("months",), behind=f"{BEHIND}:recall"),
            ),
        ),
    ),
)

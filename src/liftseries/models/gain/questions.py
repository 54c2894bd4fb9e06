"""What bone was gained: its questions."""

from liftseries.models.shared.question import Analysis, Leaves, Question

TITLE = "What bone was gained"
QUESTIONS = (
    Question(
        name="gain_mixed",
        says="mixed model",
        function="liftseries.models.gain.mixed:fit_gain_mixed",
        reads={"visits": "visits", "cases": "cases"},
        asks={"terms": "gain_terms"},
        analyses=(
            Analysis(
                "gain.mixed",
                "bone gain, REML, intercepts for the patient and the site within the patient",
                {"reml": "linear mixed model, REML, intercepts for the patient and the site within the patient"},
            ),
        ),
        leaves=(
            Leaves("gain_variances", "variances", "patient_sd_mm site_sd_mm residual_sd_mm n_visits"),
            Leaves("gain_by_visit", "by_visit", "months n mean sd"),
        ),
    ),
)

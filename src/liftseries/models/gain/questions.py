"""What bone was gained: its questions."""

from liftseries.disclosure.declared import ESTIMATE_NEEDS, LEAVE_BY, Rule, TableRules
from liftseries.models.shared.question import Analysis, Leaves, Question

TITLE = "What bone was gained"
BEHIND = "liftseries.models.gain.behind"
MODELS = {
    "corrected": "linear mixed model, REML, intercepts for the patient and the site within the patient; variance the "
    "larger of the patients' sandwich times K / (K - 1) and of the model's own",
    "reml": "the same model with its own variance",
}
MEANS = {"patients": "over the sites, patients as clusters, t(K - 1)"}

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
                "bone gain, REML, intercepts for the patient and the site within the patient, its change per year; the "
                "sites' mean at 12 months",
                MODELS | MEANS,
                headline=("corrected", "patients"),
                behind=f"{BEHIND}:mixed",
            ),
        ),
        leaves=(
            Leaves(
                "gain_variances",
                "variances",
                "patient_sd_mm site_sd_mm residual_sd_mm n_visits",
                TableRules(
                    ("n_visits",),
                    (Rule(("patient_sd_mm", "site_sd_mm", "residual_sd_mm"), behind=ESTIMATE_NEEDS),),
                    behind=f"{BEHIND}:variances",
                    core=False,
                ),
            ),
            Leaves(
                "gain_by_visit",
                "by_visit",
                "months n mean sd",
                TableRules(
                    ("n",),
                    (Rule(("mean", "sd"), behind=ESTIMATE_NEEDS),),
                    labels=("months",),
                    behind=f"{BEHIND}:recall",
                    core=False,
                ),
            ),
        ),
    ),
    Question(
        name="bone_marginal",
        says="marginal bone",
        function="liftseries.models.gain.marginal:fit_bone_marginal",
        reads={"visits": "visits", "cases": "cases"},
        asks={"months": "survival_months"},
        fits=("bone.marginal",),
        analyses=(
            Analysis(
                "bone.marginal",
                "marginal bone level: mixed model on months and healing, mean and share beyond 2 mm at each month",
                MODELS | MEANS,
                headline=("corrected", "patients"),
                core=("patients",),
                behind=f"{BEHIND}:marginal",
            ),
        ),
        leaves=(
            Leaves(
                "bone_by_visit",
                "by_visit",
                "months n mean sd",
                TableRules(
                    ("n",),
                    (Rule(("mean", "sd"), behind=ESTIMATE_NEEDS),),
                    labels=("months",),
                    behind=f"{BEHIND}:marginal_recall",
                    core=False,
                ),
            ),
        ),
    ),
    Question(
        name="stability",
        says="torque and ISQ",
        function="liftseries.models.gain.stability:fit_stability",
        reads={"cases": "cases"},
        by=("bone_quality", "rbh_band"),
        analyses=tuple(
            Analysis(
                name,
                means,
                MEANS,
                headline=("patients",),
                behind=f"{BEHIND}:stability",
                outcome=name,
                leave_by=(*LEAVE_BY, "bone_quality"),
            )
            for name, means in (
                ("stability.torque", "insertion torque: mean, standard deviation, quartiles"),
                ("stability.isq", "resonance-frequency stability quotient: the same"),
            )
        ),
    ),
)

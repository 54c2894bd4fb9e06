"""How deep was drilled: its questions."""

from liftseries.disclosure.declared import Rule, TableRules
from liftseries.models.shared.question import Analysis, Leaves, Question

TITLE = "How deep was drilled"
BEHIND = "liftseries.models.depth.behind"

QUESTIONS = (
    Question(
        name="depth_agreement",
        says="agreement with the plan",
        function="liftseries.models.depth.agreement:fit_depth_agreement",
        reads={"cases": "cases"},
        analyses=(
            Analysis(
                "depth.agreement",
                "planned against achieved depth: bias and limits of agreement",
                {"reml": "linear mixed model, REML, intercept for the patient; limits by MOVER"},
                behind=f"{BEHIND}:agreement",
                left_out=f"{BEHIND}:left_out",
            ),
        ),
    ),
    Question(
        name="depth_proportional_bias",
        says="error along the planned depth",
        function="liftseries.models.depth.proportional_bias:fit_depth_proportional_bias",
        reads={"cases": "cases"},
        analyses=(
            Analysis(
                "depth.proportional_bias",
                "whether the error grows with the planned depth",
                {"reml": "linear mixed model, REML, intercept for the patient"},
                behind=f"{BEHIND}:agreement",
                left_out=f"{BEHIND}:left_out",
            ),
        ),
    ),
    Question(
        name="deviations",
        says="deviations by kind",
        function="liftseries.models.depth.deviations:count_deviations",
        reads={"cases": "cases"},
        by=("approach",),
        leaves=(
            Leaves(
                "deviations",
                "",
                "deviation subset n_sites n_true share",
                TableRules(
                    ("n_sites", "n_true"),
                    (Rule(("share",), ("n_sites", "n_true")),),
                    behind=f"{BEHIND}:deviation",
                ),
            ),
        ),
    ),
)

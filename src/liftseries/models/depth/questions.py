"""How deep was drilled: its questions."""

from liftseries.disclosure.declared import LEAVE_BY
from liftseries.models.shared.question import Analysis, Question

TITLE = "How deep was drilled"
BEHIND = "liftseries.models.depth.behind"

LIMITS = {
    "sites": "mean over the sites, patients as clusters; limits ± 1.96 SD, intervals by patient jackknife; t(K - 1)",
    "sites_effective_df": "the same limits, t with the degrees of freedom that patients who carry the error come to",
    "reml": "linear mixed model, REML, intercept for the patient; limits by MOVER",
}
SHARE = {"patients": "events / sites, patients as clusters, logit interval with t(K - 1)"}

QUESTIONS = (
    Question(
        name="depth_ended",
        says="how the drilling ended",
        function="liftseries.models.depth.shares:fit_depth_ended",
        reads={"cases": "cases"},
        analyses=(
            Analysis(
                "depth.ended",
                "how the drilling ended against the plan: as planned, the floor open earlier, deeper, short",
                SHARE,
                headline=("patients",),
                core=("patients",),
                behind=f"{BEHIND}:ended",
            ),
        ),
    ),
    Question(
        name="depth_adherence",
        says="sites drilled as planned",
        function="liftseries.models.depth.shares:fit_depth_adherence",
        reads={"cases": "cases"},
        by=("approach", "protocol", "centre"),
        analyses=(
            Analysis(
                "depth.adherence",
                "sites drilled as planned: none of the deviations that can be judged",
                SHARE,
                headline=("patients",),
                core=("patients",),
                good=True,
                behind=f"{BEHIND}:adherence",
            ),
        ),
    ),
    Question(
        name="depth_perforation",
        says="perforations with and without a deviation",
        function="liftseries.models.depth.perforation:fit_depth_perforation",
        reads={"cases": "cases"},
        analyses=(
            Analysis(
                "depth.perforation",
                "share of sites perforated of those drilled as planned, and of those with a deviation",
                SHARE,
                headline=("patients",),
                core=("patients",),
                behind=f"{BEHIND}:perforation",
                outcome="perforation",
                leave_by=(*LEAVE_BY, "drilled_as_planned"),
            ),
        ),
    ),
    Question(
        name="depth_agreement",
        says="agreement with the plan",
        function="liftseries.models.depth.agreement:fit_depth_agreement",
        reads={"cases": "cases"},
        analyses=(
            Analysis(
                "depth.agreement",
                "planned against achieved depth: bias and limits of agreement",
                LIMITS,
                headline=("sites", "sites_effective_df"),
                behind=f"{BEHIND}:agreement",
            ),
        ),
    ),
    Question(
        name="depth_read",
        says="gauge readings against the arithmetic",
        function="liftseries.models.depth.read:fit_depth_read",
        reads={"cases": "cases", "steps": "derived_steps"},
        analyses=(
            Analysis(
                "depth.read",
                "what was read on a gauge less the recomputed depth of the hole: bias and limits of agreement",
                LIMITS,
                headline=("sites", "sites_effective_df"),
                behind=f"{BEHIND}:read",
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
            ),
        ),
    ),
    Question(
        name="depth_deviations",
        says="deviations and what cannot be judged",
        function="liftseries.models.depth.shares:fit_depth_deviations",
        reads={"cases": "cases"},
        by=("approach",),
        analyses=(
            Analysis(
                "depth.deviations",
                "sites with each deviation, of those where it can be judged; sites with a log where it cannot",
                SHARE,
                headline=("patients",),
                core=("patients",),
                behind=f"{BEHIND}:deviation_share",
            ),
        ),
    ),
)

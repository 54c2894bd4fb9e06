"""The questions of this room, as declared."""

from __future__ import annotations

from liftseries.models.shared.question import Analysis, Leaves, Question

TITLE = "Comparison of protocols"
BEHIND = "liftseries.models.comparison.behind"
ASKS = {
    "groups": "comparison.groups",
    "reference": "comparison.reference",
    "adjust_for": "comparison.adjust_for",
    "weights": "comparison.weights",
}
OVERLAP = {
    "overlap": "overlap weights from a multinomial logistic propensity model, every model refitted in the influence of "
    "a patient; of the contrast quoted, the larger of patients' and operators' variance where they go together",
    "inverse_probability": "inverse probability weights from the same model, errors alike",
}
SHARES = {
    "crude": "share of the group's sites, patients as clusters",
    "g_computation": "logistic regression on group and terms, its predictions averaged over all sites set to the group",
} | OVERLAP
SURVIVAL = {
    "crude": "Kaplan-Meier of the group, patients as clusters",
    "g_computation": "Cox regression on group and terms (Efron), Breslow increments, predictions averaged over all "
    "implants set to the group",
} | OVERLAP
MIXED = {
    "crude": "mixed model with the group alone (of gain: and the months), patients' influence with variances refitted",
    "g_computation": "the same with the terms too",
} | OVERLAP
SMD = {
    "crude": "standardised difference of means as they are",
    "overlap": "the same of means under overlap weights, unweighted variances",
    "inverse_probability": "the same of means under inverse probability weights, unweighted variances",
}
LEFT = {
    "overlap": "under overlap weights, a patient's weights in the group summed",
    "inverse_probability": "under inverse probability weights, a patient's weights in the group summed",
}
QUOTED = ("overlap", "inverse_probability", "crude")


def _analysis(name: str, means: str, methods: dict[str, str], behind: str, **more) -> Analysis:
    headline = tuple(method for method in QUOTED if method in methods)
    return Analysis(f"comparison.{name}", means, methods, headline=headline, behind=f"{BEHIND}:{behind}", **more)


def _question(name: str, says: str, function: str, reads: tuple[str, ...], analyses, leaves=(), asks=None) -> Question:
    return Question(
        name=f"comparison_{name}",
        says=says,
        function=f"liftseries.models.comparison.{function}",
        reads={table: table for table in reads},
        asks=ASKS | (asks or {}),
        analyses=analyses,
        leaves=tuple(Leaves(f"comparison_{table}", table, columns) for table, columns in leaves),
        purposes=("comparison",),
    )


QUESTIONS = (
    _question(
        "perforation",
        "tears by group, and how alike the groups are",
        "perforation:fit_comparison_perforation",
        ("cases",),
        (
            _analysis(
                "perforation",
                "share of sites perforated by group, differences and ratios",
                SHARES,
                "perforation",
            ),
            _analysis("balance", "standardised differences of the terms before and after weighting", SMD, "of_group"),
            _analysis("sample", "what the weights leave of each group", LEFT, "of_group"),
            Analysis(
                "comparison.evalue",
                "how strong a hidden cause would have to be to explain the ratio of tears",
                {"risk_ratio": "E-value of the risk ratio quoted, and of its limit nearer to 1"},
                headline=("risk_ratio",),
                behind=f"{BEHIND}:perforation",
            ),
            Analysis(
                "comparison.detectable",
                "the difference in tears that the series could have found",
                {"power": "2.802 standard errors of the difference quoted: 80 % power, 5 % on both sides"},
                headline=("power",),
                behind=f"{BEHIND}:perforation",
            ),
        ),
        (
            ("propensity", "subset of_group group low high n_sites"),
            ("entangled", "group operator surgery_year n_sites"),
            ("fallen_out", "group n_sites n_judged n_as_planned n_fallen_out"),
            (
                "characteristics",
                "unit column level subset n n_known n_missing share mean sd median q1 q3 smd",
            ),
        ),
    ),
    _question(
        "survival",
        "survival by group",
        "survival:fit_comparison_survival",
        ("implants", "cases"),
        (
            _analysis(
                "survival",
                "survival by group at each of `survival_months`, and differences",
                SURVIVAL,
                "survival",
            ),
            _analysis("rmst", "months in function by group up to each of them, and differences", SURVIVAL, "survival"),
        ),
        (
            ("curves", "subset method group months survival"),
            ("at_risk", "subset group months n_at_risk n_failed n_censored"),
        ),
        {"months": "survival_months"},
    ),
    _question(
        "gain",
        "bone gain by group",
        "gain:fit_comparison_gain",
        ("visits", "cases"),
        (
            _analysis(
                "gain",
                "differences in bone gain at 12 months",
                MIXED,
                "gain",
            ),
        ),
    ),
    _question(
        "drilling",
        "drilling by group",
        "drilling:fit_comparison_drilling",
        ("cases",),
        (
            _analysis(
                "deeper",
                "share of sites that ended deeper than planned",
                SHARES,
                "deeper",
            ),
            _analysis(
                "adherence",
                "share of sites with first depth, advances and last depth as planned",
                SHARES,
                "adherence_of_group",
            ),
            _analysis(
                "depth_error",
                "differences in achieved less planned last depth",
                MIXED,
                "depth_error",
            ),
            _analysis(
                "depth_error_size",
                "the same whichever way it went",
                MIXED,
                "depth_error",
            ),
        ),
    ),
)

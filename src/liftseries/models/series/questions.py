"""Who is in the series: its questions."""

from liftseries.disclosure.declared import ESTIMATE_NEEDS, LEAVE_BY, MEDIAN_NEEDS, QUARTILES_NEED, Rule, TableRules
from liftseries.models.shared.question import DESCRIBED, Analysis, Leaves, Question

TITLE = "Who is in the series"
BEHIND = "liftseries.models.series.behind"
RECORDED = "liftseries.models.series.recorded_behind"

QUESTIONS = (
    Question(
        name="series",
        says="flow, characteristics, missing values",
        function="liftseries.models.series.describe:describe_series",
        reads={"cases": "cases", "visits": "visits", "counts": "counts", "not_applicable": "sites_not_applicable"},
        leaves=(
            Leaves("setting", "setting", "first_year last_year n_operators"),
            Leaves(
                "flow",
                "flow",
                "stage n_patients n_sites",
                TableRules(
                    ("n_patients", "n_sites"),
                    behind=f"{BEHIND}:stage",
                ),
            ),
            Leaves(
                "characteristics",
                "characteristics",
                "unit column level subset n n_known n_missing share mean sd median q1 q3",
                TableRules(
                    ("n", "n_known", "n_missing"),
                    (
                        Rule(("share",), ("n", "n_known")),
                        Rule(("mean", "sd"), ("n", "n_known"), behind=ESTIMATE_NEEDS),
                        Rule(("median",), ("n", "n_known"), behind=MEDIAN_NEEDS),
                        Rule(("q1", "q3"), ("n", "n_known"), behind=QUARTILES_NEED),
                    ),
                    behind=f"{BEHIND}:characteristic",
                    told_by=("unit", "column"),
                    traits=True,
                ),
            ),
            Leaves(
                "missing",
                "missing",
                "column subset n n_missing n_not_applicable share",
            ),
        ),
    ),
    Question(
        name="surgery",
        says="surgery as recorded",
        function="liftseries.models.series.recorded:describe_surgery",
        reads={"cases": "cases", "implants": "implants"},
        analyses=(
            Analysis(
                "series.lift_method",
                "sites by lift method",
                DESCRIBED,
                headline=("patients",),
                core=("patients",),
                behind=f"{RECORDED}:lift_method",
            ),
            Analysis(
                "series.graft",
                "share of sites with a graft, of all and by lift method",
                DESCRIBED,
                headline=("patients",),
                core=("patients",),
                behind=f"{RECORDED}:graft",
                leave_by=(*LEAVE_BY, "lift_method"),
            ),
            Analysis(
                "series.surgery",
                "volumes, also against the spherical-cap volume of the planned lift, and months to loading: number, "
                "mean, quartiles",
                DESCRIBED,
                headline=("patients",),
                core=("patients",),
                behind=f"{RECORDED}:surgery",
            ),
            Analysis(
                "series.one_or_several",
                "tears and failures of patients with one site and with several",
                DESCRIBED,
                headline=("patients",),
                core=("patients",),
                behind=f"{RECORDED}:one_or_several",
            ),
        ),
        leaves=(Leaves("implant_sizes", "sizes", "implant_length_mm implant_diameter_mm n_sites n_patients"),),
    ),
)

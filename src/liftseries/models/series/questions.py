"""Who is in the series: its questions."""

from liftseries.models.shared.question import Leaves, Question

TITLE = "Who is in the series"
QUESTIONS = (
    Question(
        name="series",
        says="flow, characteristics, missing values",
        function="liftseries.models.series.describe:describe_series",
        reads={"cases": "cases", "visits": "visits", "counts": "counts", "not_applicable": "sites_not_applicable"},
        leaves=(
            Leaves("flow", "flow", "stage n_patients n_sites"),
            Leaves(
                "characteristics",
                "characteristics",
                "unit column level subset n n_known n_missing share mean sd median q1 q3",
            ),
            Leaves("missing", "missing", "column subset n n_missing n_not_applicable share"),
        ),
    ),
)

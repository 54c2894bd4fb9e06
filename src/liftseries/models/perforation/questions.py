"""How often the membrane tears, and what goes with it: its questions."""

from liftseries.disclosure.declared import TableRules
from liftseries.models.shared.question import Analysis, Draws, Leaves, Question

TITLE = "How often the membrane tears, and what goes with it"
BEHIND = "liftseries.models.perforation.behind"

QUESTIONS = (
    Question(
        name="perforation_rate",
        says="rates",
        function="liftseries.models.perforation.rate:fit_perforation_rate",
        reads={"cases": "cases"},
        by=("rbh_band", "lift_band", "approach", "protocol", "centre"),
        analyses=(
            Analysis(
                "perforation.rate",
                "share of sites perforated: Wilson, exact, and clustered in patients",
                f"{BEHIND}:rate",
                left_out=f"{BEHIND}:rate_left_out",
            ),
        ),
    ),
    Question(
        name="perforation_gee",
        says="odds",
        function="liftseries.models.perforation.gee:fit_perforation_gee",
        reads={"cases": "cases"},
        asks={"terms": "perforation_terms"},
        analyses=(
            Analysis(
                "perforation.gee",
                "logistic model, sites exchangeable within the patient, robust errors; bias-reduced with t below 50 "
                "patients",
                f"{BEHIND}:model",
                left_out=f"{BEHIND}:model_left_out",
            ),
        ),
    ),
    Question(
        name="perforation_firth",
        says="penalised odds",
        function="liftseries.models.perforation.firth:fit_perforation_firth",
        reads={"cases": "cases"},
        asks={"terms": "perforation_terms"},
        analyses=(
            Analysis(
                "perforation.firth",
                "the same model penalised, finite where a level has no event: profile interval, and a jackknife over "
                "patients",
                f"{BEHIND}:model",
                left_out=f"{BEHIND}:model_left_out",
            ),
        ),
    ),
    Question(
        name="perforation_imputed",
        says="odds with missing terms imputed",
        function="liftseries.models.perforation.imputed:fit_perforation_imputed",
        reads={"cases": "cases"},
        asks={
            "terms": "perforation_terms",
            "auxiliary": "imputation.auxiliary",
            "patient_columns": "patient_columns",
        },
        analyses=(
            Analysis(
                "perforation.imputed",
                "the same with missing terms imputed, pooled by Rubin's rules",
                f"{BEHIND}:imputed",
                left_out=f"{BEHIND}:rate_left_out",
            ),
        ),
        draws=Draws(
            function="liftseries.models.perforation.imputed:perforation_imputed_draws",
            n="imputation.sets",
            a_job=10,
            asks={"iterations": "imputation.iterations", "seed": "seed"},
        ),
        leaves=(
            Leaves(
                "perforation_imputation",
                "models",
                "variable level_of n_missing model predictors",
                TableRules(("n_missing",), behind=f"{BEHIND}:imputation"),
            ),
        ),
    ),
    Question(
        name="perforation_risk",
        says="standardised risks",
        function="liftseries.models.perforation.risk:fit_perforation_risk",
        reads={"cases": "cases"},
        asks={"terms": "perforation_terms", "contrasts": "risk_contrasts"},
        analyses=(
            Analysis(
                "perforation.risk",
                "standardised risk along residual height, from a spline",
                f"{BEHIND}:along_exposure",
                left_out=f"{BEHIND}:risk_left_out",
            ),
            Analysis(
                "perforation.risk_lift",
                "the same along planned lift",
                f"{BEHIND}:along_exposure",
                left_out=f"{BEHIND}:risk_lift_left_out",
            ),
            Analysis("perforation.risk_band", "the same by band, secondary", f"{BEHIND}:band"),
            Analysis("perforation.nonlinearity", "the bend of the spline", f"{BEHIND}:nonlinearity"),
            Analysis("perforation.risk_difference", "differences per 100 sites", f"{BEHIND}:difference"),
        ),
        leaves=(Leaves("perforation_risk_curves", "curves", "exposure value_mm risk conf_low conf_high n_sites"),),
    ),
    Question(
        name="perforation_validation",
        says="the model as a predictor",
        function="liftseries.models.perforation.validation:fit_perforation_validation",
        reads={"cases": "cases"},
        asks={"terms": "perforation_terms"},
        analyses=(
            Analysis(
                "perforation.validation",
                "the model as a predictor: discrimination, calibration, optimism, each centre left out",
                f"{BEHIND}:validation",
                left_out=f"{BEHIND}:model_left_out",
            ),
        ),
        draws=Draws(
            function="liftseries.models.perforation.validation:validation_draws",
            n="resamples",
            a_job=500,
            asks={"seed": "seed"},
        ),
    ),
)

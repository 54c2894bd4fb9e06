"""How often the membrane tears, and what goes with it: its questions."""

from liftseries.disclosure.declared import LEAVE_BY
from liftseries.models.shared.question import DESCRIBED, Analysis, Draws, Leaves, Question

TITLE = "How often the membrane tears, and what goes with it"
SHARE, ODDS = "How many sites were perforated?", "What goes with a perforation?"
ALONG, CONTRAST = "What is the risk at a height?", "How much does the risk differ?"
RISKS = {
    "firth": "risks standardised over the sites used, Firth's penalised logistic model, its intercept moved to the "
    "observed share, patients left out one after the other",
    "gee": "risks standardised over the sites used, logistic GEE exchangeable, corrected covariance",
}
SPLINE = "risks standardised over the sites used, logistic GEE exchangeable, height and lift as splines"
STANDARDISED = RISKS | {"standardised": SPLINE}
BAND = "logistic GEE exchangeable; secondary, as a band stands for all heights in it"
BEHIND = "liftseries.models.perforation.behind"
RECORDED = "liftseries.models.perforation.recorded_behind"

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
                "share of sites perforated, patients as clusters; Wilson, exact and GEE beside it",
                {
                    "patients": "share of sites, variance between patients, interval on the logit; exact with one "
                    "patient who has it, a bound of one side with none",
                    "wilson": "Wilson interval, sites taken as independent",
                    "exact": "exact interval (Clopper-Pearson), sites taken as independent",
                    "cluster": "logistic GEE with a constant only, sites exchangeable within the patient, interval on "
                    "the logit",
                },
                headline=("patients",),
                core=("patients",),
                answers=SHARE,
                behind=f"{BEHIND}:rate",
            ),
        ),
        leaves=(Leaves("perforation_few_cases", "few_cases", "rbh_mid_mm approach perforation_stage"),),
    ),
    Question(
        name="perforation_gee",
        says="odds",
        function="liftseries.models.perforation.gee:fit_perforation_gee",
        reads={"cases": "cases"},
        asks={"terms": "perforation_terms"},
        fits=("perforation.gee",),
        analyses=(
            Analysis(
                "perforation.gee",
                "logistic model, sites exchangeable within the patient: robust errors, and the larger of bias-reduced "
                "and model's",
                {
                    "sandwich": "logistic GEE, sites exchangeable within the patient, robust covariance",
                    "corrected": "the same with the larger of the bias-reduced (Mancl-DeRouen) and model's variance",
                },
                headline=("corrected",),
                answers=ODDS,
                behind=f"{BEHIND}:model",
            ),
        ),
    ),
    Question(
        name="perforation_firth",
        says="penalised odds",
        function="liftseries.models.perforation.firth:fit_perforation_firth",
        reads={"cases": "cases"},
        asks={"terms": "perforation_terms"},
        fits=("perforation.firth", "perforation.firth.first_terms"),
        analyses=(
            Analysis(
                "perforation.firth",
                "the same model penalised, finite where a level has no event: profile interval, a jackknife over "
                "patients, and the wider of both",
                {
                    "profile": "Firth's penalised logistic model, profile limits, sites taken as independent",
                    "jackknife": "Firth's penalised logistic model, patients left out one after the other",
                    "profile_or_jackknife": "Firth's penalised logistic model, the wider of both limits",
                    "first_terms": "Firth's penalised logistic model of the plan's first terms alone, as many as the "
                    "perforations carry, the wider of both limits",
                },
                headline=("profile_or_jackknife", "first_terms"),
                answers=ODDS,
                behind=f"{BEHIND}:model",
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
                {
                    "pooled": "imputations by chained equations, Rubin's rules, Barnard-Rubin df; logistic GEE, sites "
                    "exchangeable within the patient"
                },
                answers=ODDS,
                behind=f"{BEHIND}:imputed",
            ),
        ),
        draws=Draws(
            function="liftseries.models.perforation.imputed:perforation_imputed_draws",
            n="imputation.sets",
            a_job=20,
            asks={"iterations": "imputation.iterations", "seed": "seed"},
            events="liftseries.models.shared.outcomes:n_perforations",
            fewest=5,
        ),
        leaves=(
            Leaves(
                "perforation_imputation",
                "models",
                "variable level_of n_missing model predictors",
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
                "standardised risk along residual height, from the quoted model and from a spline",
                STANDARDISED,
                headline=("firth", "gee"),
                answers=ALONG,
                behind=f"{BEHIND}:along_exposure",
            ),
            Analysis(
                "perforation.risk_lift",
                "the same along planned lift",
                STANDARDISED,
                headline=("firth", "gee"),
                answers=ALONG,
                behind=f"{BEHIND}:along_exposure",
            ),
            Analysis(
                "perforation.risk_band",
                "the same by band, secondary",
                RISKS | {"standardised": f"risks standardised over the sites used, {BAND}"},
                behind=f"{BEHIND}:band",
            ),
            Analysis(
                "perforation.nonlinearity",
                "the bend of the spline",
                {"spline": "non-linear coefficient of a restricted cubic spline, logistic GEE exchangeable"},
                headline=("spline",),
                behind=f"{BEHIND}:nonlinearity",
            ),
            Analysis(
                "perforation.risk_difference",
                "differences per 100 sites",
                STANDARDISED,
                headline=("firth", "gee"),
                answers=CONTRAST,
                behind=f"{BEHIND}:difference",
            ),
        ),
        leaves=(
            Leaves("perforation_risk_curves", "curves", "exposure method value_mm risk conf_low conf_high n_sites"),
        ),
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
                {
                    "apparent": "judged on the sites that it was fitted to",
                    "optimism_corrected": "less the optimism seen in resamples of patients, fitted to each and tried "
                    "on the whole series",
                    "leave_one_centre_out": "each centre's sites predicted by a model fitted to the others",
                },
                headline=("optimism_corrected",),
                behind=f"{BEHIND}:validation",
                leave_by=("all",),  # a centre's calibration tells of its few events
            ),
        ),
        draws=Draws(
            function="liftseries.models.perforation.validation:validation_draws",
            n="resamples",
            a_job=500,
            asks={"seed": "seed"},
            events="liftseries.models.shared.outcomes:n_perforations",
            fewest=100,
        ),
    ),
    Question(
        name="perforation_recorded",
        says="tears as recorded",
        function="liftseries.models.perforation.recorded:fit_perforation_recorded",
        reads={"cases": "cases", "implants": "implants", "visits": "visits"},
        analyses=(
            Analysis(
                "perforation.stage",
                "tears by the stage at which they were noticed",
                DESCRIBED,
                headline=("patients",),
                core=("patients",),
                behind=f"{RECORDED}:stage",
            ),
            Analysis(
                "perforation.size",
                "largest diameter of the tears: number, mean, quartiles, largest",
                DESCRIBED,
                headline=("patients",),
                core=("patients",),
                behind=f"{RECORDED}:size",
            ),
            Analysis(
                "perforation.test",
                "share torn of the sites looked at by each test",
                DESCRIBED,
                headline=("patients",),
                core=("patients",),
                behind=f"{RECORDED}:by_test",
            ),
            Analysis(
                "perforation.management",
                "tears by what was done about them",
                DESCRIBED,
                headline=("patients",),
                core=("patients",),
                behind=f"{RECORDED}:management",
            ),
            Analysis(
                "perforation.sequel",
                "what came after a tear and without one: no implant, failure, complications, months followed",
                DESCRIBED,
                headline=("patients",),
                core=("patients",),
                behind=f"{RECORDED}:sequel",
                leave_by=(*LEAVE_BY, "perforation"),
            ),
            Analysis(
                "perforation.learning",
                "share torn by bands of the operator's case number",
                DESCRIBED,
                headline=("patients",),
                core=("patients",),
                behind=f"{RECORDED}:learning",
            ),
        ),
    ),
)

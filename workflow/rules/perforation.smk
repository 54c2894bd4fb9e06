"""Reads the cases; leaves perforation.*: rates, odds four ways, standardised risks, the model as a predictor."""


rule perforation_rate:
    """How often the membrane tears, by subset; one-sided bounds where it never did."""
    input:
        cases="models/cases.parquet",
    output:
        estimates="models/perforation_rate.csv",
        left_out="models/perforation_rate.left_out.csv",
    log:
        "logs/perforation_rate.log",
    params:
        code=code_of("estimators", "models"),
    message:
        "Counting perforations"
    script:
        "../scripts/perforation_rate.py"


rule perforation_gee:
    """Odds of a perforation, sites clustered in patients; `unknown` is left out and counted."""
    input:
        cases="models/cases.parquet",
    output:
        estimates="models/perforation_gee.csv",
        left_out="models/perforation_gee.left_out.csv",
    log:
        "logs/perforation_gee.log",
    params:
        terms=plan.perforation_terms,
        code=code_of("estimators", "models"),
    message:
        "Modelling perforation on {params.terms}"
    script:
        "../scripts/perforation_gee.py"


rule perforation_firth:
    """The same odds penalised: finite also where a level has no or only perforations."""
    input:
        cases="models/cases.parquet",
    output:
        estimates="models/perforation_firth.csv",
        left_out="models/perforation_firth.left_out.csv",
    log:
        "logs/perforation_firth.log",
    params:
        terms=plan.perforation_terms,
        code=code_of("estimators", "models"),
    message:
        "Modelling perforation with a penalty"
    script:
        "../scripts/perforation_firth.py"


rule perforation_risk:
    """Standardised risk along residual height and planned lift; risk differences of the plan's contrasts."""
    input:
        cases="models/cases.parquet",
    output:
        estimates="models/perforation_risk.csv",
        left_out="models/perforation_risk.left_out.csv",
        curves="models/perforation_risk_curves.csv",
    log:
        "logs/perforation_risk.log",
    params:
        terms=plan.perforation_terms,
        contrasts=plan.risk_contrasts,
        code=code_of("estimators", "models"),
    message:
        "Standardising the risk of a perforation"
    script:
        "../scripts/perforation_risk.py"


rule perforation_validation_draws:
    """The model fitted to resampled patients and tried on the series: one chunk of the resamples."""
    input:
        cases="models/cases.parquet",
    output:
        draws="models/draws/perforation_validation_{first}.csv",
    log:
        "logs/perforation_validation_draws_{first}.log",
    params:
        terms=plan.perforation_terms,
        n=plan.resamples,
        seed=plan.seed,
        code=code_of("estimators", "models", "engine/chunks.py"),
    message:
        "Resampling patients from {wildcards.first}: the model as a predictor"
    script:
        "../scripts/perforation_validation_draws.py"


rule perforation_validation:
    """The model as a predictor: discrimination, calibration, optimism; left-out centres."""
    input:
        cases="models/cases.parquet",
        draws=chunk_files("perforation_validation", plan.resamples),
    output:
        estimates="models/perforation_validation.csv",
        left_out="models/perforation_validation.left_out.csv",
    log:
        "logs/perforation_validation.log",
    params:
        terms=plan.perforation_terms,
        code=code_of("estimators", "models"),
    message:
        "Judging the perforation model as a predictor"
    script:
        "../scripts/perforation_validation.py"


rule perforation_imputed_draws:
    """Missing terms imputed and the model fitted: one chunk of the completed sets."""
    input:
        cases="models/cases.parquet",
    output:
        draws="models/draws/perforation_imputed_{first}.csv",
    log:
        "logs/perforation_imputed_draws_{first}.log",
    params:
        terms=plan.perforation_terms,
        n=plan.imputation["sets"],
        auxiliary=plan.imputation["auxiliary"],
        patient_columns=list(plan.schema["patients"].columns),
        iterations=plan.imputation["iterations"],
        seed=plan.seed,
        code=code_of("estimators", "models", "engine/chunks.py"),
    message:
        "Imputing from set {wildcards.first}: perforation"
    script:
        "../scripts/perforation_imputed_draws.py"


rule perforation_imputed:
    """The completed sets pooled by Rubin's rules."""
    input:
        cases="models/cases.parquet",
        draws=chunk_files("perforation_imputed", plan.imputation["sets"]),
    output:
        estimates="models/perforation_imputed.csv",
        left_out="models/perforation_imputed.left_out.csv",
        models="models/perforation_imputation.csv",
    log:
        "logs/perforation_imputed.log",
    params:
        terms=plan.perforation_terms,
        auxiliary=plan.imputation["auxiliary"],
        patient_columns=list(plan.schema["patients"].columns),
        code=code_of("estimators", "models"),
    message:
        "Pooling the imputed sets: perforation"
    script:
        "../scripts/perforation_imputed.py"


rule draw_perforation:
    """Rates by height and lift, odds ratios, standardised risks."""
    input:
        rate="models/perforation_rate.csv",
        gee="models/perforation_gee.csv",
        curves="models/perforation_risk_curves.csv",
    output:
        figures=figure_files("perforation"),
    log:
        "logs/draw_perforation.log",
    params:
        extra_columns=plan.extra_columns,
        code=code_of("estimators", "models", "report"),
    message:
        "Drawing perforations"
    script:
        "../scripts/draw_perforation.py"

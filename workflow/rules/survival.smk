"""Reads the cases and visits; leaves survival.*: curves, models and what their assumptions are worth."""


rule follow_up:
    """One row an implant: followed how long, failed, died; complications at the visits."""
    input:
        cases="models/cases.parquet",
        visits="checked/visits.parquet",
    output:
        implants="models/implants.parquet",
        left_out="models/follow_up.left_out.csv",
        complications="models/complications.csv",
    log:
        "logs/follow_up.log",
    params:
        code=code_of("estimators", "models"),
    message:
        "Following the implants"
    script:
        "../scripts/follow_up.py"


rule survival_km:
    """Kaplan-Meier survival, overall and by subset, clustered in patients."""
    input:
        implants="models/implants.parquet",
    output:
        estimates="models/survival_km.csv",
        left_out="models/survival_km.left_out.csv",
        curves="models/survival_curves.csv",
        at_risk="models/survival_at_risk.csv",
    log:
        "logs/survival_km.log",
    params:
        months=plan.survival_months,
        code=code_of("estimators", "models"),
    message:
        "Survival of the implants at {params.months} months"
    script:
        "../scripts/survival_km.py"


rule survival_life_table:
    """Yearly actuarial life table."""
    input:
        implants="models/implants.parquet",
    output:
        estimates="models/survival_life_table.csv",
        left_out="models/survival_life_table.left_out.csv",
        intervals="models/life_table.csv",
    log:
        "logs/survival_life_table.log",
    params:
        code=code_of("estimators", "models"),
    message:
        "Life table"
    script:
        "../scripts/survival_life_table.py"


rule survival_cox:
    """Hazard of failure, implants clustered in patients."""
    input:
        implants="models/implants.parquet",
    output:
        estimates="models/survival_cox.csv",
        left_out="models/survival_cox.left_out.csv",
    log:
        "logs/survival_cox.log",
    params:
        terms=plan.survival_terms,
        code=code_of("estimators", "models"),
    message:
        "Modelling failure on {params.terms}"
    script:
        "../scripts/survival_cox.py"


rule survival_firth_cox:
    """The same hazards penalised: finite also where a level has no failure."""
    input:
        implants="models/implants.parquet",
    output:
        estimates="models/survival_firth_cox.csv",
        left_out="models/survival_firth_cox.left_out.csv",
    log:
        "logs/survival_firth_cox.log",
    params:
        terms=plan.survival_terms,
        code=code_of("estimators", "models"),
    message:
        "Modelling failure with a penalty"
    script:
        "../scripts/survival_firth_cox.py"


rule survival_interval:
    """Weibull model of failures known only to lie between two visits."""
    input:
        implants="models/implants.parquet",
    output:
        estimates="models/survival_interval.csv",
        left_out="models/survival_interval.left_out.csv",
    log:
        "logs/survival_interval.log",
    params:
        terms=plan.survival_terms,
        months=plan.survival_months,
        code=code_of("estimators", "models"),
    message:
        "Modelling failures between visits"
    script:
        "../scripts/survival_interval.py"


rule survival_turnbull_draws:
    """Survival between visits without a model, patients resampled: one chunk of the resamples."""
    input:
        implants="models/implants.parquet",
    output:
        draws="models/draws/survival_turnbull_{first}.csv",
    log:
        "logs/survival_turnbull_draws_{first}.log",
    params:
        months=plan.survival_months,
        n=plan.resamples,
        seed=plan.seed,
        code=code_of("estimators", "models", "engine/chunks.py"),
    message:
        "Resampling patients from {wildcards.first}: survival between visits"
    script:
        "../scripts/survival_turnbull_draws.py"


rule survival_turnbull:
    """Survival between visits without a model, and its band."""
    input:
        implants="models/implants.parquet",
        draws=chunk_files("survival_turnbull", plan.resamples),
    output:
        estimates="models/survival_turnbull.csv",
        left_out="models/survival_turnbull.left_out.csv",
        curves="models/survival_turnbull_curves.csv",
    log:
        "logs/survival_turnbull.log",
    params:
        months=plan.survival_months,
        code=code_of("estimators", "models"),
    message:
        "Survival between visits"
    script:
        "../scripts/survival_turnbull.py"


rule survival_competing:
    """Failures with death competing, clustered in patients."""
    input:
        implants="models/implants.parquet",
    output:
        estimates="models/survival_competing.csv",
        left_out="models/survival_competing.left_out.csv",
        curves="models/survival_competing_curves.csv",
    log:
        "logs/survival_competing.log",
    params:
        months=plan.survival_months,
        code=code_of("estimators", "models"),
    message:
        "Failures with death competing"
    script:
        "../scripts/survival_competing.py"


rule survival_ph:
    """Whether hazards stay proportional: score test and residuals."""
    input:
        implants="models/implants.parquet",
    output:
        estimates="models/survival_ph.csv",
        left_out="models/survival_ph.left_out.csv",
        residuals="models/survival_ph_residuals.csv",
    log:
        "logs/survival_ph.log",
    params:
        terms=plan.survival_terms,
        code=code_of("estimators", "models"),
    message:
        "Testing proportional hazards"
    script:
        "../scripts/survival_ph.py"


rule survival_rmst:
    """Months in function up to a horizon, and their differences."""
    input:
        implants="models/implants.parquet",
    output:
        estimates="models/survival_rmst.csv",
        left_out="models/survival_rmst.left_out.csv",
    log:
        "logs/survival_rmst.log",
    params:
        months=plan.survival_months,
        code=code_of("estimators", "models"),
    message:
        "Months in function up to {params.months}"
    script:
        "../scripts/survival_rmst.py"


rule survival_patient:
    """Time to a patient's first failure."""
    input:
        implants="models/implants.parquet",
    output:
        estimates="models/survival_patient.csv",
        left_out="models/survival_patient.left_out.csv",
    log:
        "logs/survival_patient.log",
    params:
        months=plan.survival_months,
        code=code_of("estimators", "models"),
    message:
        "First failure a patient"
    script:
        "../scripts/survival_patient.py"


rule survival_gain:
    """Bone gain by the landmark, and failure after it."""
    input:
        implants="models/implants.parquet",
        cases="models/cases.parquet",
        visits="checked/visits.parquet",
    output:
        estimates="models/survival_gain.csv",
        left_out="models/survival_gain.left_out.csv",
    log:
        "logs/survival_gain.log",
    params:
        terms=plan.survival_terms,
        landmark_months=plan.landmark_months,
        code=code_of("estimators", "models"),
    message:
        "Bone gain and failure after month {params.landmark_months}"
    script:
        "../scripts/survival_gain.py"


rule survival_imputed_draws:
    """Missing terms imputed and the model fitted: one chunk of the completed sets."""
    input:
        implants="models/implants.parquet",
        cases="models/cases.parquet",
    output:
        draws="models/draws/survival_imputed_{first}.csv",
    log:
        "logs/survival_imputed_draws_{first}.log",
    params:
        terms=plan.survival_terms,
        n=plan.imputation["sets"],
        auxiliary=plan.imputation["auxiliary"],
        patient_columns=list(plan.schema["patients"].columns),
        iterations=plan.imputation["iterations"],
        seed=plan.seed,
        code=code_of("estimators", "models", "engine/chunks.py"),
    message:
        "Imputing from set {wildcards.first}: survival"
    script:
        "../scripts/survival_imputed_draws.py"


rule survival_imputed:
    """The completed sets pooled by Rubin's rules."""
    input:
        implants="models/implants.parquet",
        draws=chunk_files("survival_imputed", plan.imputation["sets"]),
    output:
        estimates="models/survival_imputed.csv",
        left_out="models/survival_imputed.left_out.csv",
        models="models/survival_imputation.csv",
    log:
        "logs/survival_imputed.log",
    params:
        terms=plan.survival_terms,
        auxiliary=plan.imputation["auxiliary"],
        patient_columns=list(plan.schema["patients"].columns),
        code=code_of("estimators", "models"),
    message:
        "Pooling the imputed sets: survival"
    script:
        "../scripts/survival_imputed.py"


rule draw_survival:
    """Survival curves, competing risks, hazards and whether they stay proportional."""
    input:
        km="models/survival_km.csv",
        curves="models/survival_curves.csv",
        at_risk="models/survival_at_risk.csv",
        cox="models/survival_cox.csv",
        turnbull="models/survival_turnbull_curves.csv",
        competing="models/survival_competing_curves.csv",
        ph="models/survival_ph.csv",
        residuals="models/survival_ph_residuals.csv",
    output:
        figures=figure_files("survival"),
    log:
        "logs/draw_survival.log",
    params:
        extra_columns=plan.extra_columns,
        code=code_of("estimators", "models", "report"),
    message:
        "Drawing survival"
    script:
        "../scripts/draw_survival.py"

"""Reads the cases and visits; leaves gain.mixed and measurement.icc."""


rule gain_mixed:
    """Bone gain at the visits, random intercepts for the patient and for the site within the patient."""
    input:
        cases="models/cases.parquet",
        visits="checked/visits.parquet",
    output:
        estimates="models/gain_mixed.csv",
        left_out="models/gain_mixed.left_out.csv",
        variances="models/gain_variances.csv",
        by_visit="models/gain_by_visit.csv",
    log:
        "logs/gain_mixed.log",
    params:
        terms=plan.gain_terms,
        code=code_of("estimators", "models"),
    message:
        "Modelling bone gain on {params.terms}"
    script:
        "../scripts/gain_mixed.py"


rule measurement_icc:
    """How alike the sites of a patient are: intraclass correlations."""
    input:
        cases="models/cases.parquet",
        visits="checked/visits.parquet",
    output:
        estimates="models/measurement_icc.csv",
        left_out="models/measurement_icc.left_out.csv",
    log:
        "logs/measurement_icc.log",
    params:
        code=code_of("estimators", "models"),
    message:
        "How alike the sites of a patient are"
    script:
        "../scripts/measurement_icc.py"


rule draw_gain:
    """Bone gain at the visits and by term."""
    input:
        cases="models/cases.parquet",
        visits="checked/visits.parquet",
        gain="models/gain_mixed.csv",
        by_visit="models/gain_by_visit.csv",
    output:
        figures=figure_files("gain"),
    log:
        "logs/draw_gain.log",
    params:
        extra_columns=plan.extra_columns,
        code=code_of("estimators", "models", "report"),
    message:
        "Drawing bone gain"
    script:
        "../scripts/draw_gain.py"

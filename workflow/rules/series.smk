"""Reads the cases and visits; leaves who is in the study, and how much of it is missing."""


rule series:
    """Flow of patients and sites, characteristics, missing values; flow and residual height drawn."""
    input:
        cases="models/cases.parquet",
        visits="checked/visits.parquet",
        counts="checked/counts.csv",
        not_applicable="checked/sites_not_applicable.parquet",
        set_aside="set_aside.csv",
    output:
        flow="models/flow.csv",
        characteristics="models/characteristics.csv",
        missing="models/missing.csv",
        figures=figure_files("series"),
    log:
        "logs/series.log",
    params:
        rbh_bands_mm=plan.rbh_bands_mm,
        code=code_of("estimators", "models", "report"),
    message:
        "Describing the series"
    script:
        "../scripts/series.py"

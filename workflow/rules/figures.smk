"""Reads cases, visits and answers; leaves figures/, a job a chapter."""


rule draw_series:
    """Flow of patients and sites; residual height."""
    input:
        flow="models/flow.csv",
        set_aside="set_aside.csv",
        cases="models/cases.parquet",
    output:
        figures=figure_files("series"),
    log:
        "logs/draw_series.log",
    params:
        rbh_bands_mm=plan.rbh_bands_mm,
        code=code_of("estimators", "models", "report"),
    message:
        "Drawing the series"
    script:
        "../scripts/draw_series.py"


rule draw_depth:
    """Planned against achieved depth, deviations by kind, a ladder."""
    input:
        cases="models/cases.parquet",
        deviations="models/deviations.csv",
        agreement="models/depth_agreement.csv",
        ladder_cases="models/ladder_cases.csv",
    output:
        figures=figure_files("depth"),
    log:
        "logs/draw_depth.log",
    params:
        code=code_of("estimators", "models", "report"),
    message:
        "Drawing depths"
    script:
        "../scripts/draw_depth.py"


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

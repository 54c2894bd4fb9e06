"""Reads the checked tables; leaves derived/, and models/cases.parquet that every question starts from."""


rule derive_depths:
    """Depth of every pass; ladder, lift, achieved depths and deviations of every site."""
    input:
        sites="checked/sites.parquet",
        steps="checked/steps.parquet",
        instruments="checked/instruments.parquet",
        stops="checked/stops.parquet",
    output:
        steps="derived/steps.csv",
        sites="derived/sites.csv",
        ladder_cases="models/ladder_cases.csv",
    log:
        "logs/derive_depths.log",
    params:
        first_depth_margin_mm=plan.first_depth_margin_mm,
        step_mm=plan.step_mm,
        depth_tolerance_mm=plan.depth_tolerance_mm,
        speed_limit_rpm=plan.speed_limit_rpm,
        lift_base_radius_mm=plan.lift_base_radius_mm,
        code=code_of("geometry"),
    message:
        "Recomputing depths, ladders and deviations"
    script:
        "../scripts/derive_depths.py"


rule join_cases:
    """One row a site with its patient, its geometry and its bands."""
    input:
        patients="checked/patients.parquet",
        sites="checked/sites.parquet",
        derived="derived/sites.csv",
    output:
        cases="models/cases.parquet",
    log:
        "logs/join_cases.log",
    params:
        rbh_bands_mm=plan.rbh_bands_mm,
        lift_bands_mm=plan.lift_bands_mm,
        code=code_of("models/shared/cases.py"),
    message:
        "Joining sites, patients and depths"
    script:
        "../scripts/join_cases.py"


rule follow_up:
    """One row an implant: followed how long, failed, died."""
    input:
        cases="models/cases.parquet",
        visits="checked/visits.parquet",
    output:
        implants="models/implants.parquet",
        left_out="models/follow_up.left_out.csv",
    log:
        "logs/follow_up.log",
    params:
        code=code_of("estimators", "models"),
    message:
        "Following the implants"
    script:
        "../scripts/follow_up.py"

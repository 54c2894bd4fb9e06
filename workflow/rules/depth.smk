"""Reads derived/sites.csv; leaves deviations by kind and depth.agreement."""


rule depth:
    """Planned against achieved depth with limits of agreement; deviations by kind; a ladder drawn."""
    input:
        patients="checked/patients.parquet",
        sites="checked/sites.parquet",
        derived="derived/sites.csv",
        ladder_cases="models/ladder_cases.csv",
    output:
        estimates="models/depth_agreement.csv",
        left_out="models/depth_agreement.left_out.csv",
        deviations="models/deviations.csv",
        figures=figure_files("depth"),
    log:
        "logs/depth.log",
    params:
        rbh_bands_mm=plan.rbh_bands_mm,
        lift_bands_mm=plan.lift_bands_mm,
        code=code_of("models", "report"),
    message:
        "Comparing achieved with planned depths"
    script:
        "../scripts/depth.py"

"""Reads the cases; leaves deviations by kind, depth.agreement and depth.proportional_bias."""


rule depth_agreement:
    """Planned against achieved depth: bias and limits of agreement."""
    input:
        cases="models/cases.parquet",
    output:
        estimates="models/depth_agreement.csv",
        left_out="models/depth_agreement.left_out.csv",
    log:
        "logs/depth_agreement.log",
    params:
        code=code_of("estimators", "models"),
    message:
        "Comparing achieved with planned depths"
    script:
        "../scripts/depth_agreement.py"


rule depth_proportional_bias:
    """Whether the error of the depth grows with the planned depth."""
    input:
        cases="models/cases.parquet",
    output:
        estimates="models/depth_proportional_bias.csv",
        left_out="models/depth_proportional_bias.left_out.csv",
    log:
        "logs/depth_proportional_bias.log",
    params:
        code=code_of("estimators", "models"),
    message:
        "Errors along the planned depth"
    script:
        "../scripts/depth_proportional_bias.py"


rule draw_depth:
    """Planned against achieved depth, deviations by kind, a ladder."""
    input:
        cases="models/cases.parquet",
        agreement="models/depth_agreement.csv",
        ladder_cases="models/ladder_cases.csv",
    output:
        deviations="models/deviations.csv",
        figures=figure_files("depth"),
    log:
        "logs/draw_depth.log",
    params:
        code=code_of("estimators", "models", "report"),
    message:
        "Drawing depths"
    script:
        "../scripts/draw_depth.py"

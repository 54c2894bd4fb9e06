"""Reads estimates, cases and implants; leaves sensitivity.*: what could change the answers."""


rule sensitivity_evalue:
    """How strong an unmeasured cause would have to be to explain a ratio away."""
    input:
        perforation="models/perforation_gee.csv",
        survival="models/survival_cox.csv",
    output:
        estimates="models/sensitivity_evalue.csv",
        left_out="models/sensitivity_evalue.left_out.csv",
    log:
        "logs/sensitivity_evalue.log",
    params:
        code=code_of("estimators", "models"),
    message:
        "E-values"
    script:
        "../scripts/sensitivity_evalue.py"


rule sensitivity_detection:
    """What the rates would be if only a share of the tears was seen."""
    input:
        cases="models/cases.parquet",
    output:
        estimates="models/sensitivity_detection.csv",
        left_out="models/sensitivity_detection.left_out.csv",
    log:
        "logs/sensitivity_detection.log",
    params:
        code=code_of("estimators", "models"),
    message:
        "If tears were overlooked"
    script:
        "../scripts/sensitivity_detection.py"


rule sensitivity_lost:
    """What survival would be if lost implants fared best or worst."""
    input:
        implants="models/implants.parquet",
    output:
        estimates="models/sensitivity_lost.csv",
        left_out="models/sensitivity_lost.left_out.csv",
    log:
        "logs/sensitivity_lost.log",
    params:
        months=plan.survival_months,
        code=code_of("estimators", "models"),
    message:
        "If lost implants fared best or worst"
    script:
        "../scripts/sensitivity_lost.py"

"""Reads every chapter's estimates and figures; leaves results.csv, tables/, report.html, report.pdf and manifest.json."""

QUESTIONS = [
    "perforation_rate",
    "perforation_gee",
    "perforation_firth",
    "perforation_imputed",
    "perforation_risk",
    "perforation_validation",
    "survival_km",
    "survival_life_table",
    "survival_cox",
    "survival_firth_cox",
    "survival_imputed",
    "survival_interval",
    "survival_turnbull",
    "survival_competing",
    "survival_ph",
    "survival_rmst",
    "survival_patient",
    "survival_gain",
    "gain_mixed",
    "measurement_icc",
    "depth_agreement",
    "depth_proportional_bias",
    "sensitivity_evalue",
    "sensitivity_detection",
    "sensitivity_lost",
]


rule collect_results:
    """Every estimate in one tidy table, in the order of the report."""
    input:
        expand("models/{question}.csv", question=QUESTIONS),
    output:
        results="results.csv",
    log:
        "logs/collect_results.log",
    params:
        code=code_of("base/outputs.py"),
    message:
        "Collecting results.csv"
    script:
        "../scripts/collect_results.py"


rule report:
    """The pages and tables of the report, from what the chapters left."""
    input:
        results="results.csv",
        left_out=expand("models/{question}.left_out.csv", question=["follow_up", *QUESTIONS]),
        counts="checked/counts.csv",
        set_aside="set_aside.csv",
        chapters=[
            "models/flow.csv",
            "models/characteristics.csv",
            "models/missing.csv",
            "models/deviations.csv",
            "models/ladder_cases.csv",
            "models/complications.csv",
            "models/life_table.csv",
            "models/survival_at_risk.csv",
            "models/gain_variances.csv",
            "models/gain_by_visit.csv",
            "models/perforation_imputation.csv",
            "models/survival_imputation.csv",
        ],
        figures=figure_files(),
        tables=plan.files(),
    output:
        html="report.html",
        pdf="report.pdf",
        tables=directory("tables"),
    log:
        "logs/report.log",
    params:
        study=str(plan.folder),
        plan=plan.as_written,
        versions=versions(),
        code=code_of("report", "reports", "engine/provenance.py", "schemas"),
    message:
        "Writing the report"
    script:
        "../scripts/report.py"


rule write_manifest:
    """Hashes of every input and output, the plan, versions and seed."""
    input:
        plan=plan.folder / "study.yaml",
        tables=plan.files(),
        outputs=[
            "report.html",
            "report.pdf",
            "results.csv",
            "set_aside.csv",
            "derived/steps.csv",
            "derived/sites.csv",
            "tables",
            *figure_files(),
        ],
    output:
        manifest="manifest.json",
    log:
        "logs/write_manifest.log",
    params:
        study=str(plan.folder),
        versions=versions(),
        code=all_code(),
    message:
        "Writing the manifest"
    script:
        "../scripts/write_manifest.py"

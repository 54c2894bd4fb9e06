"""Reads the answers and figures; leaves results.csv, tables/, report.html, report.pdf and manifest.json."""


left_for_reports = {
    "results": "results.csv",
    "left_out": [
        "models/follow_up.left_out.csv",
        *(f"models/{question.name}.left_out.csv" for question in QUESTIONS if question.analyses),
    ],
    "tables": [f"models/{table.name}.csv" for question in QUESTIONS for table in question.leaves],
    "counts": "checked/counts.csv",
    "set_aside": "set_aside.csv",
    "ladder_cases": "models/ladder_cases.csv",
    "files": plan.files(),
}


rule collect_results:
    """Every estimate in one tidy table, in the order of the report."""
    input:
        estimates=[f"models/{question.name}.csv" for question in QUESTIONS if question.analyses],
    output:
        results="results.csv",
    log:
        "logs/collect_results.log",
    params:
        does="liftseries.engine.spine:collect_results",
        code=code_of("base/outputs.py", "engine/spine.py"),
    message:
        "Collecting results.csv"
    script:
        "../scripts/job.py"


rule tables:
    """The tables of the reports, as CSV and DOCX."""
    input:
        **left_for_reports,
    output:
        [directory(path) for path in table_folders_of(plan.purpose)],
    log:
        "logs/tables.log",
    params:
        does="liftseries.report.purposes.jobs:write_files",
        files=table_folders_of(plan.purpose),
        study=str(plan.folder),
        plan=plan.as_written,
        versions=versions(),
        code=code_of("base", "models", "report", "study", "schemas"),
    message:
        "Writing the tables"
    script:
        "../scripts/job.py"


rule report:
    """The pages of the reports, from what the questions left."""
    input:
        **left_for_reports,
        figures=figure_files(*plan.purpose),
    output:
        pages_of(plan.purpose),
    log:
        "logs/report.log",
    params:
        does="liftseries.report.purposes.jobs:write_files",
        files=pages_of(plan.purpose),
        study=str(plan.folder),
        plan=plan.as_written,
        versions=versions(),
        code=code_of("base", "models", "report", "reports", "study", "schemas"),
    message:
        "Writing the report"
    script:
        "../scripts/job.py"


rule write_manifest:
    """Hashes of every input and output, the plan, versions and seed."""
    input:
        plan=plan.folder / "study.yaml",
        tables=plan.files(),
        outputs=[
            "results.csv",
            "set_aside.csv",
            "decisions.csv",
            "derived/steps.csv",
            "derived/sites.csv",
            *pages_of(plan.purpose),
            *table_folders_of(plan.purpose),
            *figure_files(*plan.purpose),
        ],
    output:
        manifest="manifest.json",
    log:
        "logs/write_manifest.log",
    params:
        does="liftseries.engine.spine:write_manifest",
        study=str(plan.folder),
        versions=versions(),
        code=all_code(),
    message:
        "Writing the manifest"
    script:
        "../scripts/job.py"

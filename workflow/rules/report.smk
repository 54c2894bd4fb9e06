"""Reads the answers and figures; leaves results.csv, tables/, report.html, report.pdf and manifest.json."""


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


rule report:
    """The pages and tables of the report, from what the chapters left."""
    input:
        results="results.csv",
        left_out=[
            "models/follow_up.left_out.csv",
            *(f"models/{question.name}.left_out.csv" for question in QUESTIONS if question.analyses),
        ],
        tables=[f"models/{table.name}.csv" for question in QUESTIONS for table in question.leaves],
        counts="checked/counts.csv",
        set_aside="set_aside.csv",
        ladder_cases="models/ladder_cases.csv",
        figures=figure_files(*plan.purpose),
        files=plan.files(),
    output:
        [directory(path) if "." not in path else path for path in report_files(plan.purpose)],
    log:
        "logs/report.log",
    params:
        does="liftseries.report.purposes.jobs:write_reports",
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
            *report_files(plan.purpose),
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

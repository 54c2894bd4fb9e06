"""Reads the answers and figures; leaves results.csv, clean/, models/, the reports and manifest.json."""


left_for_reports = {
    "results": "results.csv",
    "left_out": [
        work_file("follow_up.left_out"),
        *(work_file(f"{question.name}.left_out") for question in questions_asked if question.analyses),
    ],
    "tables": [work_file(table.name) for question in questions_asked for table in question.leaves],
    "audit_cycle": [f"checked/{table}.parquet" for table in AUDIT_TABLES if "audit" in plan.purpose],
    "counts": "checked/counts.csv",
    "set_aside": "set_aside.csv",
    "corrected": "checked/corrected.csv",
    "oddities": "oddities.csv",
    "ladder_cases": file_of("ladder_cases"),
    "since_earlier": [SINCE] if earlier else [],
}


# What lies between the tables and the reports; a release and a run that finds nothing changed rest on it too.
files_between = [
    *rules.check_tables.output,
    *rules.find_oddities.output,
    *(rules.check_audit_tables.output if "audit" in plan.purpose else ()),
    *rules.derive_depths.output,
    *rules.join_cases.output,
    *(rules.read_as_filed.output if "audit" in plan.purpose else ()),
    *rules.follow_up.output,
    *(path for job in (*quick_jobs(plan), *pooling_jobs(plan)) for path in job.outputs.values()),
    *(path for question in resampling(questions_asked) for path in draw_files(question, plan)),
    *(drawn_in(room) for room in figures_of(plan.purpose)),
    *([SINCE] if earlier else ()),
]


rule collect_results:
    """Every estimate in one tidy table, in the order of the report."""
    input:
        estimates=[work_file(question.name) for question in questions_asked if question.analyses],
    output:
        results="results.csv",
    log:
        "logs/collect_results.log",
    params:
        does="liftseries.engine.spine:collect_results",
        code=code_of("base/outputs.py", "engine/spine.py"),
    group:
        "report"
    resources:
        **requested("collect_results", size),
    message:
        "Collecting results.csv"
    run:
        hand_over(input, output, params, wildcards, log)


rule write_clean:
    """The tables as they were read, with a codebook and a Data Package."""
    input:
        **{name: f"checked/{name}.parquet" for name in plan.schema},
        derived=[f"derived/{name}.csv" for name in ("steps", "sites", "implants", "visits")],
    output:
        directory("clean"),
    log:
        "logs/write_clean.log",
    params:
        does="liftseries.engine.spine:write_clean",
        folder="clean",
        extra_columns=plan.extra_columns,
        code=code_of("base/outputs.py", "engine/spine.py", "forms", "study", "schemas"),
    group:
        "report"
    resources:
        **requested("write_clean", size),
    message:
        "Writing the tables as they were read"
    run:
        hand_over(input, output, params, wildcards, log)


if earlier:

    rule find_changes:
        """Rows and headlines that changed since the run that this one replaces."""
        input:
            clean="clean",
            results="results.csv",
        output:
            since=SINCE,
        log:
            "logs/find_changes.log",
        params:
            does="liftseries.engine.changes:find_changes",
            plan=plan.as_written,
            earlier=earlier,
            code=code_of("base", "engine/changes.py", "engine/earlier.py", "study", "schemas"),
        group:
            "report"
        resources:
            **requested("find_changes", size),
        message:
            "Comparing with the run before"
        run:
            hand_over(input, output, params, wildcards, log)


rule write_models:
    """Formula, covariance and sites used of each fitted model, enough to refit it."""
    input:
        cases=file_of("cases"),
        visits=file_of("visits"),
        parts=[work_file(f"{name}.{part}") for question in questions_asked for name in question.fits for part in PARTS],
    output:
        directory("models"),
    log:
        "logs/write_models.log",
    params:
        does="liftseries.engine.spine:write_models",
        folder="models",
        models=[name for question in questions_asked for name in question.fits],
        code=code_of("base/outputs.py", "engine/spine.py", "models/shared/follow_up.py", "reports"),
    group:
        "report"
    resources:
        **requested("write_models", size),
    message:
        "Writing what refits the models"
    run:
        hand_over(input, output, params, wildcards, log)


for name in plan.purpose:

    rule:
        """A report, from what the questions left: figures, tables, pages."""
        name:
            report_job(name)
        input:
            **left_for_reports,
            figures=[drawn_in(room) for room in figures_of([name])],
        output:
            files_of([name]),
            [directory(path) for path in folders_of([name])],
        log:
            f"logs/{report_job(name)}.log",
        params:
            does="liftseries.report.purposes.jobs:write_report",
            purpose=name,
            study=str(plan.folder),
            plan=plan.as_written,
            begun=begun,
            versions=versions(),
            code=code_of("base", "geometry", "intake", "models", "report", "reports", "study", "schemas"),
        priority: longest_first(report_job(name))
        group:
            "report"
        resources:
            **requested(report_job(name), size),
        message:
            f"Writing the report: {name}"
        run:
            hand_over(input, output, params, wildcards, log)


rule write_manifest:
    """Hashes of every input and output, the plan, versions and seed."""
    input:
        # Asked for here, so that a fault in them is told whichever blocks of the audit read them.
        audit_tables=[f"checked/{table}.parquet" for table in AUDIT_TABLES if "audit" in plan.purpose],
        cases=file_of("cases"),
        visits=file_of("visits"),
        between=files_between,
        outputs=[
            "results.csv",
            "set_aside.csv",
            "decisions.csv",
            "oddities.csv",
            "derived/steps.csv",
            "derived/sites.csv",
            "derived/implants.csv",
            "derived/visits.csv",
            "clean",
            "models",
            *files_of(plan.purpose),
            *folders_of(plan.purpose),
        ],
    output:
        manifest="manifest.json",
        crate="ro-crate-metadata.json",
    log:
        "logs/write_manifest.log",
    params:
        does="liftseries.engine.spine:write_manifest",
        study=str(plan.folder),
        begun=begun,
        versions=versions(),
        code=all_code(),
    group:
        "report"
    resources:
        **requested("write_manifest", size),
    message:
        "Writing the manifest"
    run:
        hand_over(input, output, params, wildcards, log)

"""Reads the study folder; leaves checked/, set_aside.csv and decisions.csv."""


rule check_tables:
    """Every cell typed and checked, across columns and across tables; all problems in one pass."""
    input:
        tables=plan.files(),
    output:
        patients="checked/patients.parquet",
        sites="checked/sites.parquet",
        steps="checked/steps.parquet",
        visits="checked/visits.parquet",
        instruments="checked/instruments.parquet",
        stops="checked/stops.parquet",
        counts="checked/counts.csv",
        not_applicable="checked/sites_not_applicable.parquet",
        set_aside="set_aside.csv",
        decisions="decisions.csv",
    log:
        "logs/check_tables.log",
    params:
        does="liftseries.engine.spine:check_tables",
        study=str(plan.folder),
        tables=plan.as_written["tables"],
        extra_columns=plan.extra_columns,
        reading=plan.as_written["reading"],
        invalid_rows=plan.invalid_rows,
        code=code_of("intake", "study", "schemas"),
    message:
        "Checking the tables"
    script:
        "../scripts/job.py"

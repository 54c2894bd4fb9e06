"""Reads the study folder; leaves checked/, set_aside.csv, decisions.csv and oddities.csv."""

# As the plan names them; those of an audit's cycle are read by a rule of their own, for they change no estimate.
tables_named = {table: plan.as_written["tables"][table] for table in TABLES if plan.has(table)}


rule check_tables:
    """Every cell typed and checked, across columns and across tables; all problems in one pass."""
    output:
        patients="checked/patients.parquet",
        sites="checked/sites.parquet",
        steps="checked/steps.parquet",
        visits="checked/visits.parquet",
        instruments="checked/instruments.parquet",
        stops="checked/stops.parquet",
        counts="checked/counts.csv",
        not_applicable="checked/sites_not_applicable.parquet",
        places="checked/places.parquet",
        set_aside="set_aside.csv",
        decisions="decisions.csv",
        corrected="checked/corrected.csv",
        filled_cells=file_of("filled_cells"),
    log:
        "logs/check_tables.log",
    params:
        does="liftseries.engine.spine:check_tables",
        study=str(plan.folder),
        tables=tables_named,
        begun=only(begun, plan, *TABLES),
        extra_columns=plan.extra_columns,
        reading=plan.as_written["reading"],
        read_as=plan.as_written["read_as"],
        invalid_rows=plan.invalid_rows,
        of_centre=plan.centre,
        code=code_of("intake", "study", "schemas"),
    group:
        "tables"
    resources:
        **requested("check_tables", size),
    message:
        "Checking the tables"
    run:
        hand_over(input, output, params, wildcards, log)


rule find_oddities:
    """What is possible but odd, and whether the plan accepts it; nothing but the report follows from it."""
    input:
        **{table: f"checked/{table}.parquet" for table in TABLES},
        places="checked/places.parquet",
    output:
        oddities="oddities.csv",
        odd_sites=file_of("odd_sites"),
    log:
        "logs/find_oddities.log",
    params:
        does="liftseries.engine.spine:find_oddities",
        asked=[plan.data_until, plan.lift_base_radius_mm, plan.as_written["accepted_oddities"]],
        code=code_of("intake/oddities", "geometry/floor.py", "study", "schemas"),
    group:
        "report"
    resources:
        **requested("find_oddities", size),
    message:
        "Looking for oddities"
    run:
        hand_over(input, output, params, wildcards, log)


rule check_audit_tables:
    """What an audit's cycle left in the study folder: actions, replies, changes; empty where there are none."""
    input:
        patients="checked/patients.parquet",
        sites="checked/sites.parquet",
    output:
        **{table: f"checked/{table}.parquet" for table in AUDIT_TABLES},
    log:
        "logs/check_audit_tables.log",
    params:
        does="liftseries.engine.spine:check_audit_tables",
        study=str(plan.folder),
        tables={table: [source.label for source in plan.tables.get(table, ())] for table in AUDIT_TABLES},
        begun=only(begun, plan, *AUDIT_TABLES),
        units=[plan.audit["by"], plan.audit["expected"], plan.rbh_bands_mm, plan.lift_bands_mm],
        extra_columns=plan.extra_columns,
        reading=plan.as_written["reading"],
        read_as=plan.as_written["read_as"],
        code=code_of("intake", "study", "schemas"),
    priority: 40  # before what takes long, so that a fault is told soon
    group:
        "tables"
    resources:
        **requested("check_audit_tables", size),
    message:
        "Checking actions, replies and changes"
    run:
        hand_over(input, output, params, wildcards, log)

"""Reads the checked tables; leaves derived/, and work/cases.parquet that every question starts from."""


rule derive_depths:
    """Depth of every pass; ladder, lift, achieved depths and deviations of every site."""
    input:
        patients="checked/patients.parquet",
        sites="checked/sites.parquet",
        steps="checked/steps.parquet",
        instruments="checked/instruments.parquet",
        stops="checked/stops.parquet",
    output:
        steps="derived/steps.csv",
        sites="derived/sites.csv",
        ladder_cases=file_of("ladder_cases"),
    log:
        "logs/derive_depths.log",
    params:
        does="liftseries.engine.spine:derive_depths",
        limits={limit.name: getattr(plan, limit.name) for limit in fields(Limits)},
        code=code_of("geometry"),
    priority: 40  # all else rests on them
    group:
        "tables"
    resources:
        **requested("derive_depths", size),
    message:
        "Recomputing depths, ladders and deviations"
    run:
        hand_over(input, output, params, wildcards, log)


rule join_cases:
    """One row a site with its patient, its geometry and its bands."""
    input:
        patients="checked/patients.parquet",
        sites="checked/sites.parquet",
        derived="derived/sites.csv",
    output:
        cases=file_of("cases"),
    log:
        "logs/join_cases.log",
    params:
        does="liftseries.engine.spine:join_cases",
        rbh_bands_mm=plan.rbh_bands_mm,
        lift_bands_mm=plan.lift_bands_mm,
        code=code_of("models/shared/cases.py"),
    priority: 40  # all else rests on them
    group:
        "tables"
    resources:
        **requested("join_cases", size),
    message:
        "Joining sites, patients and depths"
    run:
        hand_over(input, output, params, wildcards, log)


rule read_as_filed:
    """One row a site as first filed, corrections.csv ignored; empty where there is none."""
    input:
        cases=file_of("cases"),
    output:
        cases=file_of("cases_as_filed"),
        cells=file_of("corrected_cells"),
    log:
        "logs/read_as_filed.log",
    params:
        does="liftseries.engine.spine:read_as_filed",
        study=str(plan.folder),
        tables=tables_named,
        begun=only(begun, plan, *TABLES),
        extra_columns=plan.extra_columns,
        reading=plan.as_written["reading"],
        read_as=plan.as_written["read_as"],
        limits={limit.name: getattr(plan, limit.name) for limit in fields(Limits)},
        rbh_bands_mm=plan.rbh_bands_mm,
        lift_bands_mm=plan.lift_bands_mm,
        code=code_of("intake", "study", "schemas", "geometry", "models/shared/cases.py"),
    priority: 40  # all else rests on them
    group:
        "tables"
    resources:
        **requested("read_as_filed", size),
    message:
        "Reading the study as first filed"
    run:
        hand_over(input, output, params, wildcards, log)


rule follow_up:
    """One row an implant: followed how long, failed, died."""
    input:
        cases=file_of("cases"),
        visits="checked/visits.parquet",
    output:
        implants=file_of("implants"),
        left_out=work_file("follow_up.left_out"),
        implants_table="derived/implants.csv",
        visits_table="derived/visits.csv",
    log:
        "logs/follow_up.log",
    params:
        does="liftseries.engine.spine:follow_up",
        code=code_of("models/shared/follow_up.py", "models/shared/outcomes.py"),
    priority: 40  # all else rests on them
    group:
        "tables"
    resources:
        **requested("follow_up", size),
    message:
        "Following the implants"
    run:
        hand_over(input, output, params, wildcards, log)

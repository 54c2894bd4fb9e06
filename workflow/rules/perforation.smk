"""Reads the checked tables and derived/sites.csv; leaves perforation.rate and perforation.gee."""


rule perforation:
    """How often the membrane tears, by subset; odds with sites clustered in patients."""
    input:
        patients="checked/patients.parquet",
        sites="checked/sites.parquet",
        derived="derived/sites.csv",
    output:
        rate="models/perforation_rate.csv",
        rate_left_out="models/perforation_rate.left_out.csv",
        gee="models/perforation_gee.csv",
        gee_left_out="models/perforation_gee.left_out.csv",
        figures=figure_files("perforation"),
    log:
        "logs/perforation.log",
    params:
        terms=plan.perforation_terms,
        rbh_bands_mm=plan.rbh_bands_mm,
        lift_bands_mm=plan.lift_bands_mm,
        extra_columns=plan.extra_columns,
        code=code_of("models", "report"),
    message:
        "Modelling perforation on {params.terms}"
    script:
        "../scripts/perforation.py"

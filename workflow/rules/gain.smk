"""Reads visits, sites and patients; leaves gain.mixed."""


rule gain:
    """Bone gain at the visits, random intercepts for the patient and for the site within the patient."""
    input:
        patients="checked/patients.parquet",
        sites="checked/sites.parquet",
        visits="checked/visits.parquet",
        derived="derived/sites.csv",
    output:
        estimates="models/gain_mixed.csv",
        left_out="models/gain_mixed.left_out.csv",
        variances="models/gain_variances.csv",
        by_visit="models/gain_by_visit.csv",
        figures=figure_files("gain"),
    log:
        "logs/gain.log",
    params:
        terms=plan.gain_terms,
        rbh_bands_mm=plan.rbh_bands_mm,
        lift_bands_mm=plan.lift_bands_mm,
        extra_columns=plan.extra_columns,
        code=code_of("models", "report"),
    message:
        "Modelling bone gain on {params.terms}"
    script:
        "../scripts/gain.py"

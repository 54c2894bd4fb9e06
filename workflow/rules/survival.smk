"""Reads visits, sites and patients; leaves survival.km, survival.life_table and survival.cox."""


rule survival:
    """Kaplan-Meier, life table and Cox model of implant survival, implants clustered in patients."""
    input:
        patients="checked/patients.parquet",
        sites="checked/sites.parquet",
        visits="checked/visits.parquet",
        derived="derived/sites.csv",
    output:
        km="models/survival_km.csv",
        km_left_out="models/survival_km.left_out.csv",
        curves="models/survival_curves.csv",
        at_risk="models/survival_at_risk.csv",
        life_table="models/survival_life_table.csv",
        life_table_left_out="models/survival_life_table.left_out.csv",
        intervals="models/life_table.csv",
        cox="models/survival_cox.csv",
        cox_left_out="models/survival_cox.left_out.csv",
        complications="models/complications.csv",
        figures=figure_files("survival"),
    log:
        "logs/survival.log",
    params:
        terms=plan.survival_terms,
        months=plan.survival_months,
        rbh_bands_mm=plan.rbh_bands_mm,
        lift_bands_mm=plan.lift_bands_mm,
        extra_columns=plan.extra_columns,
        code=code_of("models", "report"),
    message:
        "Following the implants: survival on {params.terms}"
    script:
        "../scripts/survival.py"

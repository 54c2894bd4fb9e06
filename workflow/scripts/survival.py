"""Survival: Kaplan-Meier, life table and Cox model of the implants, complications; their figures."""

from liftseries.jobs import logged, read_cases

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.describe import complications
    from liftseries.models.follow_up import follow_up
    from liftseries.models.survival_cox import fit_survival_cox
    from liftseries.models.survival_km import fit_survival_km
    from liftseries.models.survival_life_table import fit_survival_life_table
    from liftseries.outputs import write_csv
    from liftseries.report.figures.style import save
    from liftseries.report.figures.survival import draw_hazard_ratios, draw_survival, draw_survival_by_height
    from liftseries.report.wording import Words

    visits = pd.read_parquet(snakemake.input.visits)
    cases = read_cases(snakemake.input, snakemake.params)
    followed = follow_up(visits, cases)

    km = fit_survival_km(followed.implants, snakemake.params.months, by=["rbh_band", "approach", "protocol"])
    life_table = fit_survival_life_table(followed.implants)
    cox = fit_survival_cox(followed.implants, snakemake.params.terms)
    for name, estimates in (("km", km), ("life_table", life_table), ("cox", cox)):
        left_out = pd.concat([followed.left_out(f"survival.{name}"), estimates.left_out])
        write_csv(snakemake.output[name], estimates.rows)
        write_csv(snakemake.output[f"{name}_left_out"], left_out)
    write_csv(snakemake.output.curves, km.curves)
    write_csv(snakemake.output.at_risk, km.at_risk)
    write_csv(snakemake.output.intervals, life_table.table)
    write_csv(snakemake.output.complications, complications(visits, cases))

    save(draw_survival(km.curves, km.at_risk, km.rows), "figures/survival")
    save(draw_survival_by_height(km.curves, km.at_risk, km.rows), "figures/survival_by_height")
    save(draw_hazard_ratios(cox.rows, Words(snakemake.params.extra_columns)), "figures/hazard_ratios")

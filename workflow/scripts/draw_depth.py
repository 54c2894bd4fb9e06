"""Planned against achieved depth, deviations by kind, the ladder drawn."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.tables import read_table
    from liftseries.engine.tables import read_estimates
    from liftseries.report.depth.figures import draw_deviations, draw_ladder_case, draw_planned_achieved
    from liftseries.report.kit.figures.style import save

    cases = pd.read_parquet(snakemake.input.cases)
    kinds = read_table(snakemake.input.deviations)

    save(draw_planned_achieved(cases, read_estimates(snakemake.input.agreement)), "figures/planned_achieved")
    save(draw_deviations(kinds), "figures/deviations")
    save(draw_ladder_case(pd.read_csv(snakemake.input.ladder_cases)), "figures/ladder_case")

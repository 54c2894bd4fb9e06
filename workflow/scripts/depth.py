"""Planned against achieved depth, deviations by kind; their figures and the ladder drawing."""

from liftseries.jobs import logged, read_cases

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.depth_agreement import fit_depth_agreement
    from liftseries.models.describe import deviations
    from liftseries.outputs import write_csv
    from liftseries.report.figures.depth import draw_deviations, draw_ladder_case, draw_planned_achieved
    from liftseries.report.figures.style import save

    cases = read_cases(snakemake.input, snakemake.params)

    agreement, kinds = fit_depth_agreement(cases), deviations(cases)
    write_csv(snakemake.output.estimates, agreement.rows)
    write_csv(snakemake.output.left_out, agreement.left_out)
    write_csv(snakemake.output.deviations, kinds)

    save(draw_planned_achieved(cases, agreement.rows), "figures/planned_achieved")
    save(draw_deviations(kinds), "figures/deviations")
    save(draw_ladder_case(pd.read_csv(snakemake.input.ladder_cases)), "figures/ladder_case")

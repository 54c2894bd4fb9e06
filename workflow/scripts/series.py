"""Who is in the study: flow, characteristics, missing values; flow and residual height drawn."""

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.describe import characteristics, flow, missingness
    from liftseries.outputs import write_csv
    from liftseries.report.figures.series import draw_flow, draw_residual_height
    from liftseries.report.figures.style import save
    from liftseries.report.material import read_table

    visits, counts = pd.read_parquet(snakemake.input.visits), pd.read_csv(snakemake.input.counts)
    cases = pd.read_parquet(snakemake.input.cases)

    boxes = flow(cases, visits, counts)
    write_csv(snakemake.output.flow, boxes)
    write_csv(snakemake.output.characteristics, characteristics(cases))
    not_applicable = cases[["site_id"]].merge(pd.read_parquet(snakemake.input.not_applicable), "left", "site_id")
    write_csv(snakemake.output.missing, missingness(cases, not_applicable))

    save(draw_flow(boxes, read_table(snakemake.input.set_aside)), "figures/flow")
    save(draw_residual_height(cases, snakemake.params.rbh_bands_mm), "figures/residual_height")

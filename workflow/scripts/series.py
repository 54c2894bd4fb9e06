"""Who is in the study: flow, characteristics, missing values; flow and residual height drawn."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.series.describe import characteristics, flow, missingness
    from liftseries.report.kit.figures.style import save
    from liftseries.report.kit.material import read_table
    from liftseries.report.series.figures import draw_flow, draw_residual_height

    visits, counts = pd.read_parquet(snakemake.input.visits), pd.read_csv(snakemake.input.counts)
    cases = pd.read_parquet(snakemake.input.cases)

    boxes = flow(cases, visits, counts)
    write_csv(snakemake.output.flow, boxes)
    write_csv(snakemake.output.characteristics, characteristics(cases))
    not_applicable = cases[["site_id"]].merge(pd.read_parquet(snakemake.input.not_applicable), "left", "site_id")
    write_csv(snakemake.output.missing, missingness(cases, not_applicable))

    save(draw_flow(boxes, read_table(snakemake.input.set_aside)), "figures/flow")
    save(draw_residual_height(cases, snakemake.params.rbh_bands_mm), "figures/residual_height")

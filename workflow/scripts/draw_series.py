"""Flow and residual height, drawn."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.tables import read_table
    from liftseries.report.kit.figures.style import save
    from liftseries.report.series.figures import draw_flow, draw_residual_height

    boxes = read_table(snakemake.input.flow)
    save(draw_flow(boxes, read_table(snakemake.input.set_aside)), "figures/flow")
    cases = pd.read_parquet(snakemake.input.cases)
    save(draw_residual_height(cases, snakemake.params.rbh_bands_mm), "figures/residual_height")

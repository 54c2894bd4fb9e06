"""Planned against achieved depth, deviations by kind, the ladder drawn."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.depth.deviations import count_deviations
    from liftseries.report.kit.drawing import draw_figure, source_in
    from liftseries.report.kit.figures.style import save
    from liftseries.report.purposes import figures_of

    write_csv(snakemake.output.deviations, count_deviations(pd.read_parquet(snakemake.input.cases)))
    for figure in figures_of()["depth"]:
        save(draw_figure(figure, source_in("."), {}), f"figures/{figure.name}")

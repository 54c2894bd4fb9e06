"""Rates by height and lift, odds ratios, standardised risks, drawn."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    from liftseries.report.kit.drawing import draw_figure, source_in
    from liftseries.report.kit.figures.style import save
    from liftseries.report.purposes import figures_of

    plan = {"extra_columns": snakemake.params.extra_columns}
    for figure in figures_of()["perforation"]:
        save(draw_figure(figure, source_in("."), plan), f"figures/{figure.name}")

"""Who is in the study: flow, characteristics, missing values; flow and residual height drawn."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.series.describe import characteristics, flow, missingness
    from liftseries.report.kit.drawing import draw_figure, source_in
    from liftseries.report.kit.figures.style import save
    from liftseries.report.purposes import figures_of

    visits, counts = pd.read_parquet(snakemake.input.visits), pd.read_csv(snakemake.input.counts)
    cases = pd.read_parquet(snakemake.input.cases)

    write_csv(snakemake.output.flow, flow(cases, visits, counts))
    write_csv(snakemake.output.characteristics, characteristics(cases))
    not_applicable = cases[["site_id"]].merge(pd.read_parquet(snakemake.input.not_applicable), "left", "site_id")
    write_csv(snakemake.output.missing, missingness(cases, not_applicable))

    plan = {"plan": {"rbh_bands_mm": snakemake.params.rbh_bands_mm}}
    for figure in figures_of()["series"]:
        save(draw_figure(figure, source_in("."), plan), f"figures/{figure.name}")

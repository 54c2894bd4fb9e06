"""Bone gain at the visits and by term, drawn."""

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.gain_mixed import gain_at_visits
    from liftseries.report.figures.gain import draw_gain_by_visit, draw_gain_terms
    from liftseries.report.figures.style import save
    from liftseries.report.material import read_estimates, read_table
    from liftseries.report.wording import Words

    cases, visits = pd.read_parquet(snakemake.input.cases), pd.read_parquet(snakemake.input.visits)
    gains = gain_at_visits(visits, cases)
    save(draw_gain_by_visit(read_table(snakemake.input.by_visit), gains), "figures/gain_by_visit")
    words = Words(snakemake.params.extra_columns)
    save(draw_gain_terms(read_estimates(snakemake.input.gain), words), "figures/gain_terms")

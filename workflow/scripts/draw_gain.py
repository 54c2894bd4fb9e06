"""Bone gain at the visits and by term, drawn."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.tables import read_table
    from liftseries.engine.tables import read_estimates
    from liftseries.models.shared.outcomes import gain_at_visits
    from liftseries.report.gain.figures import draw_gain_by_visit, draw_gain_terms
    from liftseries.report.kit.figures.style import save
    from liftseries.report.kit.words import Words

    cases, visits = pd.read_parquet(snakemake.input.cases), pd.read_parquet(snakemake.input.visits)
    gains = gain_at_visits(visits, cases)
    save(draw_gain_by_visit(read_table(snakemake.input.by_visit), gains), "figures/gain_by_visit")
    words = Words(snakemake.params.extra_columns)
    save(draw_gain_terms(read_estimates(snakemake.input.gain), words), "figures/gain_terms")

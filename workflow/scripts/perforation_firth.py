"""Odds of a perforation, penalised."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.perforation.firth import fit_perforation_firth

    cases = pd.read_parquet(snakemake.input.cases)
    estimates = fit_perforation_firth(cases, snakemake.params.terms)
    write_estimates(snakemake.output, estimates)

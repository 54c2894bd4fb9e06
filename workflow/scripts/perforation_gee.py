"""Odds of a perforation, GEE."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.perforation.gee import fit_perforation_gee

    cases = pd.read_parquet(snakemake.input.cases)
    estimates = fit_perforation_gee(cases, snakemake.params.terms)
    write_estimates(snakemake.output, estimates)

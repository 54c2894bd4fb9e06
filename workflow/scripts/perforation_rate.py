"""Perforation rates by subset."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.perforation.rate import fit_perforation_rate

    cases = pd.read_parquet(snakemake.input.cases)
    estimates = fit_perforation_rate(cases, by=["rbh_band", "lift_band", "approach", "protocol", "centre"])
    write_estimates(snakemake.output, estimates)

"""Failures between visits, Weibull."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.survival.interval import fit_survival_interval

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_interval(implants, snakemake.params.terms, snakemake.params.months)
    write_estimates(snakemake.output, estimates)

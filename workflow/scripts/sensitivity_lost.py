"""Survival if lost implants fared best or worst."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.sensitivity.lost import fit_sensitivity_lost

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_sensitivity_lost(implants, snakemake.params.months)
    write_estimates(snakemake.output, estimates)

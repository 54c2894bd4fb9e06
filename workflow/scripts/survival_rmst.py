"""Months in function up to a horizon."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.survival.rmst import fit_survival_rmst

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_rmst(implants, snakemake.params.months, by=["approach", "protocol"])
    write_estimates(snakemake.output, estimates)

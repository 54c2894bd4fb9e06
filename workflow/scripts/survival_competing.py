"""Failures with death competing."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.survival.competing import fit_survival_competing

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_competing(implants, snakemake.params.months, by=["rbh_band", "approach", "protocol"])
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.curves, estimates.curves)

"""Failures with death competing."""

from liftseries.jobs import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.survival_competing import fit_survival_competing
    from liftseries.outputs import write_csv

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_competing(implants, snakemake.params.months, by=["rbh_band", "approach", "protocol"])
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.curves, estimates.curves)

"""Yearly life table."""

from liftseries.jobs import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.survival_life_table import fit_survival_life_table
    from liftseries.outputs import write_csv

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_life_table(implants)
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.intervals, estimates.table)

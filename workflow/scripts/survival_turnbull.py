"""Survival between visits, without a model."""

from liftseries.jobs import logged, read_chunks, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.survival_turnbull import fit_survival_turnbull
    from liftseries.outputs import write_csv

    implants = pd.read_parquet(snakemake.input.implants)
    draws = read_chunks(snakemake.input.draws)
    estimates = fit_survival_turnbull(implants, snakemake.params.months, draws)
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.curves, estimates.curves)

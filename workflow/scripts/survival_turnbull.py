"""Survival between visits, without a model."""

from liftseries.engine.job import logged, read_chunks, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.survival.turnbull import fit_survival_turnbull

    implants = pd.read_parquet(snakemake.input.implants)
    draws = read_chunks(snakemake.input.draws)
    estimates = fit_survival_turnbull(implants, snakemake.params.months, draws)
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.curves, estimates.curves)

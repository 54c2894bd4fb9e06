"""Proportional hazards: test and residuals."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.survival.ph import fit_survival_ph

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_ph(implants, snakemake.params.terms)
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.residuals, estimates.residuals)

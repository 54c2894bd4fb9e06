"""Hazard of failure, imputed sets pooled."""

from liftseries.engine.job import logged, read_chunks, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.survival.imputed import fit_survival_imputed

    implants = pd.read_parquet(snakemake.input.implants)
    draws = read_chunks(snakemake.input.draws)
    asked = snakemake.params
    names = asked.terms, asked.auxiliary, asked.patient_columns
    estimates = fit_survival_imputed(implants, *names, draws)
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.models, estimates.models)

"""Hazard of failure, penalised."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.survival.firth_cox import fit_survival_firth_cox

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_firth_cox(implants, snakemake.params.terms)
    write_estimates(snakemake.output, estimates)

"""Time to a patient's first failure."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.survival.patient import fit_survival_patient

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_patient(implants, snakemake.params.months)
    write_estimates(snakemake.output, estimates)

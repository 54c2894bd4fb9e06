"""Bone gain by the landmark, and failure after it."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.survival.gain import fit_survival_gain

    implants = pd.read_parquet(snakemake.input.implants)
    cases = pd.read_parquet(snakemake.input.cases)
    visits = pd.read_parquet(snakemake.input.visits)
    estimates = fit_survival_gain(visits, implants, cases, snakemake.params.terms, snakemake.params.landmark_months)
    write_estimates(snakemake.output, estimates)

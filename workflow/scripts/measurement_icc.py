"""Intraclass correlations."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.sensitivity.icc import fit_measurement_icc

    cases = pd.read_parquet(snakemake.input.cases)
    visits = pd.read_parquet(snakemake.input.visits)
    estimates = fit_measurement_icc(cases, visits)
    write_estimates(snakemake.output, estimates)

"""Bias and limits of agreement of the last depth."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.depth.agreement import fit_depth_agreement

    cases = pd.read_parquet(snakemake.input.cases)
    estimates = fit_depth_agreement(cases)
    write_estimates(snakemake.output, estimates)

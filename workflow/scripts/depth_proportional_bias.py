"""Error of the depth along the planned depth."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.depth.proportional_bias import fit_depth_proportional_bias

    cases = pd.read_parquet(snakemake.input.cases)
    estimates = fit_depth_proportional_bias(cases)
    write_estimates(snakemake.output, estimates)

"""Bone gain at the visits."""

from liftseries.jobs import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.gain_mixed import fit_gain_mixed
    from liftseries.outputs import write_csv

    visits = pd.read_parquet(snakemake.input.visits)
    cases = pd.read_parquet(snakemake.input.cases)
    estimates = fit_gain_mixed(visits, cases, snakemake.params.terms)
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.variances, estimates.variances)
    write_csv(snakemake.output.by_visit, estimates.by_visit)

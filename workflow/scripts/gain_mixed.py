"""Bone gain at the visits."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.gain.mixed import fit_gain_mixed

    visits = pd.read_parquet(snakemake.input.visits)
    cases = pd.read_parquet(snakemake.input.cases)
    estimates = fit_gain_mixed(visits, cases, snakemake.params.terms)
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.variances, estimates.variances)
    write_csv(snakemake.output.by_visit, estimates.by_visit)

"""Standardised risks of a perforation."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.perforation.risk import fit_perforation_risk

    cases = pd.read_parquet(snakemake.input.cases)
    estimates = fit_perforation_risk(cases, snakemake.params.terms, snakemake.params.contrasts)
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.curves, estimates.curves)

"""The perforation model as a predictor."""

from liftseries.engine.job import logged, read_chunks, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.perforation.validation import fit_perforation_validation

    cases = pd.read_parquet(snakemake.input.cases)
    draws = read_chunks(snakemake.input.draws)
    estimates = fit_perforation_validation(cases, snakemake.params.terms, draws)
    write_estimates(snakemake.output, estimates)

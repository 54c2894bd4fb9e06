"""One chunk of the resamples: the model fitted to resampled patients and tried on the series."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.engine.chunks import n_in_chunk
    from liftseries.models.perforation.validation import validation_draws

    cases = pd.read_parquet(snakemake.input.cases)
    first = int(snakemake.wildcards.first)
    n = n_in_chunk("perforation_validation", first, snakemake.params.n)
    draws = validation_draws(cases, snakemake.params.terms, snakemake.params.seed, first, n)
    write_csv(snakemake.output.draws, draws)

"""One chunk of the resamples: the model fitted to resampled patients and tried on the series."""

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.chunks import n_in_chunk
    from liftseries.models.perforation_validation import validation_draws
    from liftseries.outputs import write_csv

    cases = pd.read_parquet(snakemake.input.cases)
    first = int(snakemake.wildcards.first)
    n = n_in_chunk("perforation_validation", first, snakemake.params.n)
    draws = validation_draws(cases, snakemake.params.terms, snakemake.params.seed, first, n)
    write_csv(snakemake.output.draws, draws)

"""One chunk of the resamples: survival between visits of resampled patients."""

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.chunks import n_in_chunk
    from liftseries.models.survival_turnbull import turnbull_draws
    from liftseries.outputs import write_csv

    implants = pd.read_parquet(snakemake.input.implants)
    first = int(snakemake.wildcards.first)
    n = n_in_chunk("survival_turnbull", first, snakemake.params.n)
    draws = turnbull_draws(implants, snakemake.params.months, snakemake.params.seed, first, n)
    write_csv(snakemake.output.draws, draws)

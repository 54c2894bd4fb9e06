"""One chunk of the resamples: survival between visits of resampled patients."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.engine.chunks import n_in_chunk
    from liftseries.models.survival.turnbull import turnbull_draws

    implants = pd.read_parquet(snakemake.input.implants)
    first = int(snakemake.wildcards.first)
    n = n_in_chunk("survival_turnbull", first, snakemake.params.n)
    draws = turnbull_draws(implants, snakemake.params.months, snakemake.params.seed, first, n)
    write_csv(snakemake.output.draws, draws)

"""One chunk of the completed sets: the model on each."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.engine.chunks import n_in_chunk
    from liftseries.models.survival.imputed import survival_imputed_draws

    implants = pd.read_parquet(snakemake.input.implants)
    first = int(snakemake.wildcards.first)
    n = n_in_chunk("survival_imputed", first, snakemake.params.n)
    asked = snakemake.params
    names = asked.terms, asked.auxiliary, asked.patient_columns
    draws = survival_imputed_draws(implants, *names, asked.seed, first, n, asked.iterations)
    write_csv(snakemake.output.draws, draws)

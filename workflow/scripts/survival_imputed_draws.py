"""One chunk of the completed sets: the model on each."""

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.chunks import n_in_chunk
    from liftseries.models.survival_imputed import survival_imputed_draws
    from liftseries.outputs import write_csv

    implants = pd.read_parquet(snakemake.input.implants)
    first = int(snakemake.wildcards.first)
    n = n_in_chunk("survival_imputed", first, snakemake.params.n)
    asked = snakemake.params
    names = asked.terms, asked.auxiliary, asked.patient_columns
    draws = survival_imputed_draws(implants, *names, asked.seed, first, n, asked.iterations)
    write_csv(snakemake.output.draws, draws)

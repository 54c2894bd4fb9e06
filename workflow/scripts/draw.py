"""One chunk of a question's replicates."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    from liftseries.base.outputs import write_csv
    from liftseries.engine.answer import draw_chunk

    asked = snakemake.params
    draws = draw_chunk(asked.question, asked.asked, int(snakemake.wildcards.first), asked.n)
    write_csv(snakemake.output.draws, draws)

"""The questions of one job answered."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    from liftseries.engine.answer import answer_all

    answer_all(snakemake.params.questions, snakemake.params.asked, snakemake.params.drawn)

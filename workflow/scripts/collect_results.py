"""The questions' estimates -> results.csv, letter for letter."""

from pathlib import Path

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    from liftseries.base.outputs import write_text

    tables = [Path(path).read_text(encoding="utf-8").split("\n", maxsplit=1) for path in snakemake.input]
    (header,) = {first for first, _ in tables}
    write_text(snakemake.output.results, "\n".join([header, "".join(rows for _, rows in tables)]))

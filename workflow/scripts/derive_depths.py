"""Checked tables -> derived/steps.csv, derived/sites.csv, cases for the ladder drawing."""

from liftseries.engine.job import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.geometry.derived import Limits, derive
    from liftseries.geometry.examples import ladder_cases

    tables = {name: pd.read_parquet(path) for name, path in snakemake.input.items()}
    limits = Limits(**{name: value for name, value in snakemake.params.items() if name != "code"})
    steps, sites = derive(**tables, limits=limits)
    write_csv(snakemake.output.steps, steps)
    write_csv(snakemake.output.sites, sites)
    cases = ladder_cases(tables["sites"], sites, steps, tables["instruments"], tables["stops"], limits)
    write_csv(snakemake.output.ladder_cases, cases)

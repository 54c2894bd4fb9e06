"""Sites, patients and depths -> models/cases.parquet."""

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.cases import cases
    from liftseries.outputs import write_parquet

    patients, sites = pd.read_parquet(snakemake.input.patients), pd.read_parquet(snakemake.input.sites)
    # A site may be called 12, 007 or NA: its name stays as it was written.
    texts = dict.fromkeys(("site_id", "plan_problem"), str)
    derived = pd.read_csv(snakemake.input.derived, dtype=texts, keep_default_na=False, na_values=[""])
    bands = snakemake.params.rbh_bands_mm, snakemake.params.lift_bands_mm
    write_parquet(snakemake.output.cases, cases(patients, sites, derived, *bands))

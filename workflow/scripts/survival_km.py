"""Kaplan-Meier survival."""

from liftseries.jobs import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.survival_km import fit_survival_km
    from liftseries.outputs import write_csv

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_km(implants, snakemake.params.months, by=["rbh_band", "approach", "protocol"])
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.curves, estimates.curves)
    write_csv(snakemake.output.at_risk, estimates.at_risk)

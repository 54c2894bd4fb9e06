"""Kaplan-Meier survival."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.base.outputs import write_csv
    from liftseries.models.survival.km import fit_survival_km

    implants = pd.read_parquet(snakemake.input.implants)
    estimates = fit_survival_km(implants, snakemake.params.months, by=["rbh_band", "approach", "protocol"])
    write_estimates(snakemake.output, estimates)
    write_csv(snakemake.output.curves, estimates.curves)
    write_csv(snakemake.output.at_risk, estimates.at_risk)

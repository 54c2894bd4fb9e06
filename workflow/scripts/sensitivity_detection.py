"""Rates if tears were overlooked."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    import pandas as pd

    from liftseries.models.sensitivity.detection import fit_sensitivity_detection

    cases = pd.read_parquet(snakemake.input.cases)
    estimates = fit_sensitivity_detection(cases)
    write_estimates(snakemake.output, estimates)

"""E-values of the odds and hazard ratios."""

from liftseries.engine.job import logged, write_estimates

with logged(snakemake.log[0]):
    from liftseries.models.sensitivity.evalue import fit_sensitivity_evalue
    from liftseries.report.kit.material import read_estimates

    perforation, survival = (read_estimates(snakemake.input[name]) for name in ("perforation", "survival"))
    write_estimates(snakemake.output, fit_sensitivity_evalue(perforation, survival))

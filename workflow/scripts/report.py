"""Estimates, figures and the plan -> report.html, report.pdf and tables/."""

from pathlib import Path

from liftseries.jobs import logged

with logged(snakemake.log[0]):
    raise NotImplementedError

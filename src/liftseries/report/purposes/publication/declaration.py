"""The report for publication, as declared: every chapter, and the methods in the order in which they are told."""

from __future__ import annotations

from liftseries.report.closing import declarations as closing
from liftseries.report.depth import declarations as depth
from liftseries.report.gain import declarations as gain
from liftseries.report.kit.declarations import Purpose
from liftseries.report.perforation import declarations as perforation
from liftseries.report.sensitivity import declarations as sensitivity
from liftseries.report.series import declarations as series
from liftseries.report.survival import declarations as survival

PURPOSE = Purpose(
    name="publication",
    first_page="liftseries.report.purposes.publication.first_page:first_page",
    chapters=(
        series.STUDIED,
        series.CHAPTER,
        depth.CHAPTER,
        perforation.CHAPTER,
        survival.CHAPTER,
        gain.CHAPTER,
        sensitivity.CHAPTER,
        closing.LIMITS,
        closing.WITHHELD,
        closing.METHODS,
        closing.VERSIONS,
    ),
    methods=(
        f"{depth.ROOM}.methods:of_depths",
        f"{closing.ROOM}.methods:of_clustering",
        f"{perforation.ROOM}.methods:of_rates_and_odds",
        f"{closing.ROOM}.methods:of_separation",
        f"{closing.ROOM}.methods:of_simulated_series",
        f"{perforation.ROOM}.methods:of_risks",
        f"{closing.ROOM}.methods:of_missing_terms",
        f"{survival.ROOM}.methods:of_survival",
        f"{gain.ROOM}.methods:of_gain",
        f"{depth.ROOM}.methods:of_agreement",
        f"{sensitivity.ROOM}.methods:of_sensitivity",
        f"{closing.ROOM}.methods:of_random_numbers_and_levels",
    ),
    files=("report.html", "report.pdf", "tables"),
    may_be_released=True,
)

"""The chapter of methods: a paragraph an analysis, and those that belong to no outcome."""

from __future__ import annotations

import csv
from collections.abc import Iterable

from liftseries.base.home import folder
from liftseries.estimators.intervals import FEW_PATIENTS
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import listed, percent
from liftseries.report.kit.sentences import small
from liftseries.report.kit.writer import Writer

COVERAGE = "coverage.csv"  # in reports/; tests/benchmarks/coverage.py writes it


def of_clustering(writer: Writer) -> Iterable[Paragraph]:
    """Sites of a patient are not independent."""
    yield Paragraph(
        lead="Clustering",
        text=(
            "Sites of one patient are not independent. Intervals are by patient wherever the table's method "
            f"says so. Below {FEW_PATIENTS} patients, clustered intervals of rates, odds ratios, bone gain and "
            "depths come from Student's t, those of rates and odds ratios with a bias-reduced covariance "
            "(Mancl and DeRouen 2001, doi:10.1111/j.0006-341X.2001.00126.x); those of survival and hazards "
            "stay normal. All intervals hold 95%. A level “unknown” is missing, "
            "and models take complete cases."
        ),
    )


def of_separation(writer: Writer) -> Iterable[Paragraph]:
    """What is done where events are few."""
    yield Paragraph(
        lead="Few events and separation",
        text=(
            "Before a model of events is fitted, a linear programme asks whether its terms tell events from the "
            "rest; if so the ratio is left empty and the term named. Firth's penalty keeps estimates finite (Firth "
            "1993, doi:10.1093/biomet/80.1.27; Heinze and Schemper 2001 and 2002, "
            "doi:10.1111/j.0006-341X.2001.00114.x, doi:10.1002/sim.1047). Its profile interval takes sites as "
            "independent; the jackknife leaves out one patient at a time. The report quotes the wider of both, since "
            "a sandwich gathers its variance from the few patients with an event."
        ),
    )


def of_simulated_series(writer: Writer) -> Iterable[Paragraph]:
    """How the intervals that are quoted fared where the truth is known."""
    material = writer.material
    path = folder("reports") / COVERAGE
    if material.results.empty or not path.is_file():
        return
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    quoted = [float(row["coverage"]) for row in rows if row["method"] == "headline" and row["coverage"]]
    yield Paragraph(
        lead="Intervals tried",
        text=(
            f"The intervals quoted were tried on {len({row['design'] for row in rows})} kinds of simulated series of "
            "60 to 150 patients with 2 to 5% events, among them series whose patients with many sites have more "
            "events, or fewer, whose risk is not straight along the bone height, and whose patients' effects or "
            f"slopes differ widely. They held the truth in {percent(min(quoted))} to {percent(max(quoted))} of the "
            "series. The source has each analysis, with its widths and the error of the simulation, in "
            "reports/coverage.csv."
        ),
    )


def of_missing_terms(writer: Writer) -> Iterable[Paragraph]:
    """How missing terms are imputed."""
    material = writer.material
    yield Paragraph(
        lead="Missing terms",
        text=(
            f"{_imputation(material)} Numbers are matched to donors, levels drawn from logistic models; what "
            "belongs to a patient is imputed once a patient. The outcome is a predictor, for survival as the event "
            "and the Nelson-Aalen hazard (White and Royston 2009, doi:10.1002/sim.3618), and is never imputed. "
            "Estimates are pooled by Rubin's rules with the degrees of freedom of Barnard and Rubin (1999, "
            "doi:10.1093/biomet/86.4.948)."
        ),
    )


def of_random_numbers_and_levels(writer: Writer) -> Iterable[Paragraph]:
    """The seed, and the levels that others are compared with."""
    material = writer.material
    yield Paragraph(
        lead="Random numbers",
        text=(
            f"Resamples and imputed sets start from {material.asked['seed']}; each has its own seed, so that the "
            "answer does not depend on how they were spread over jobs."
        ),
    )
    yield Paragraph(lead="Reference levels", text=_references(material))


def _imputation(material: Material) -> str:
    asked = material.asked["imputation"]
    helpers = listed([small(material.words.column(name)) for name in asked["auxiliary"]])
    return (
        f"{asked['sets']} completed sets by chained equations, {asked['iterations']} rounds each "
        "(van Buuren 2007, doi:10.1177/0962280206074463), from the model's terms, the outcome and "
        f"{helpers or 'nothing else'}."
    )


def _references(material: Material) -> str:
    words = material.words
    named = {
        term: words.reference(term)
        for key in ("perforation_terms", "survival_terms", "gain_terms")
        for term in material.asked[key]
        if words.reference(term)
    }
    told = [f"{words.column(term).lower()} {level.replace('_', ' ')}" for term, level in named.items()]
    return (
        f"{listed(told).capitalize() if told else 'No term has levels'}. Where a reference did not occur, "
        "the method beside the estimate names the one that stood in."
    )

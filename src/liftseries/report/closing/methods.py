"""The chapter of methods: the paragraphs that belong to no outcome."""

from __future__ import annotations

import csv
from collections.abc import Iterable

import pandas as pd

from liftseries.base.home import folder
from liftseries.estimators.intervals import FEW_PATIENTS
from liftseries.models.questions import question
from liftseries.models.shared.gates import MANY_EVENTS
from liftseries.models.shared.imputation import MOST_FITTED
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import listed
from liftseries.report.kit.replicates import n_told
from liftseries.report.kit.sentences import small
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

COVERAGE = "coverage.csv"  # in reports/; tests/benchmarks/coverage.py writes it


def of_clustering(writer: Writer) -> Iterable[Paragraph]:
    """Sites of a patient are not independent."""
    yield Paragraph(say("closing.clustering", few=FEW_PATIENTS), lead=say("closing.lead_clustering"))


def of_separation(writer: Writer) -> Iterable[Paragraph]:
    """What is done where events are few."""
    yield Paragraph(say("closing.separation"), lead=say("closing.lead_separation"))


def of_simulated_series(writer: Writer) -> Iterable[Paragraph]:
    """How the intervals that are quoted fared where the truth is known."""
    path = folder("reports") / COVERAGE
    if writer.material.results.empty or not path.is_file():
        return
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    quoted = [float(row["coverage"]) for row in rows if row["method"] == "headline" and row["coverage"]]
    designs = len({row["design"] for row in rows})
    text = say("closing.simulated", designs=designs, least=min(quoted), most=max(quoted))
    yield Paragraph(text, lead=say("closing.lead_simulated"))


def of_missing_terms(writer: Writer) -> Iterable[Paragraph]:
    """How missing terms are imputed; nothing where no model has any imputed."""
    material = writer.material
    rows = pd.concat([material.rows("perforation.imputed"), material.rows("survival.imputed")])
    if rows.empty:
        return
    asked = material.asked["imputation"]
    drawn = n_told(rows, "imputations", asked["sets"])
    helpers = listed([small(material.words.column(name)) for name in asked["auxiliary"]])
    text = say(
        "closing.imputation",
        sets=drawn,
        rounds=asked["iterations"],
        helpers=helpers or say("closing.no_helpers"),
    )
    if drawn < asked["sets"]:
        fewest = question("perforation_imputed").draws.fewest
        text += " " + say(
            "closing.fewer_sets", asked=asked["sets"], many=MANY_EVENTS, fewest=fewest, fitted=MOST_FITTED
        )
    yield Paragraph(text, lead=say("closing.lead_imputation"))


def of_random_numbers_and_levels(writer: Writer) -> Iterable[Paragraph]:
    """The seed, and the levels that others are compared with."""
    material = writer.material
    yield Paragraph(say("closing.random", seed=material.asked["seed"]), lead=say("closing.lead_random"))
    yield Paragraph(_references(material), lead=say("closing.lead_references"))


def _references(material: Material) -> str:
    words = material.words
    named = {
        term: words.reference(term)
        for key in ("perforation_terms", "survival_terms", "gain_terms")
        for term in material.asked[key]
        if words.reference(term)
    }
    told = [
        say("closing.reference", column=small(words.column(term)), level=level.replace("_", " "))
        for term, level in named.items()
    ]
    return say("closing.references", levels=told) if told else say("closing.no_references")

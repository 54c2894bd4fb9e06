"""What could change the answers: unmeasured causes, tears overlooked, implants lost, how alike sites are."""

from __future__ import annotations

from dataclasses import replace

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import methods_of, way_of
from liftseries.report.kit.numbers import decimal, percent
from liftseries.report.kit.tables.cells import Content
from liftseries.report.kit.tables.listing import listing_table
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.sensitivity.sentences import evalues


def evalue_table(material: Material, words: Words) -> Content | None:
    """How strong an unmeasured cause would have to be."""
    names = {"perforation": "Perforation", "survival": "Implant failure"}

    def model(row) -> str:
        outcome = row["term"].partition(".")[0]
        return names.get(outcome, outcome)

    rows, below_gate = evalues(material)
    labels = (
        ("Outcome", model),
        ("Term", lambda row: words.term(row["term"].partition(" ")[2])),
        ("For the interval", lambda row: decimal(row["conf_low"])),
    )
    found = listing_table(
        material,
        rows,
        labels,
        "E-value of the estimate",
        "1 means that the interval holds no difference already. " + methods_of(rows),
    )
    return found and replace(found, holds=tuple(trace_of(row) for _, row in below_gate.iterrows()))


def detection_table(material: Material, words: Words) -> Content | None:
    """What the shares would be if only some of the tears were seen."""
    labels = (
        ("Sites", lambda row: words.subset(row["subset"])),
        ("Share of tears seen", lambda row: percent(float(row["term"]))),
    )
    return listing_table(
        material,
        material.rows("sensitivity.detection"),
        labels,
        "Perforated (95% interval)",
        "The interval is that of the share seen, divided by the share of tears seen; that share itself is assumed.",
    )


def detection_contrast_table(material: Material, words: Words) -> Content | None:
    """What a contrast would be if tears were seen more often in one group than in the other."""

    def term(row) -> str:
        return words.term(row["term"].rpartition(" ")[0], str(row["note"]))

    def seen(row) -> str:
        reference, other = row["term"].rpartition(" ")[2].split("/")
        return f"{percent(float(reference))} in the reference, {percent(float(other))} in the other"

    return listing_table(
        material,
        material.rows("sensitivity.detection_contrast"),
        (("Contrast", term), ("Tears seen", seen)),
        "Odds ratio (95% interval)",
    )


def lost_table(material: Material, words: Words) -> Content | None:
    """Survival if the implants lost from sight fared best or worst, and what it takes to change the answer."""
    rows = material.results[
        material.results["analysis"].isin(["sensitivity.lost_implants", "sensitivity.tipping_point"])
    ]

    def case(row) -> str:
        if row["analysis"] == "sensitivity.tipping_point":
            return "Share of the lost that must have failed to reach the interval's lower limit"
        return way_of(row)

    return listing_table(
        material,
        rows,
        (("Month", lambda row: row["term"]), ("Case", case)),
        "% (95% interval)",
    )


def icc_table(material: Material, words: Words) -> Content | None:
    """How alike the sites of a patient are."""
    labels = (
        ("Quantity", lambda row: words.column(row["term"])),
        ("How", way_of),
    )
    return listing_table(
        material,
        material.rows("measurement.icc"),
        labels,
        "Correlation (95% interval)",
    )

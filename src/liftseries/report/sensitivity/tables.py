"""What could change the answers: unmeasured causes, tears overlooked, lost to follow-up, how alike sites are."""

from __future__ import annotations

from liftseries.base.remarks import remark
from liftseries.models.sensitivity.second_opinion import TOLD
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import methods_of, way_of
from liftseries.report.kit.numbers import WITHHELD, count, decimal, missing, percent
from liftseries.report.kit.quoted import below_gate
from liftseries.report.kit.tables.cells import Content, content_of
from liftseries.report.kit.tables.listing import listing_table
from liftseries.report.kit.words import Words


def evalue_table(material: Material, words: Words) -> Content | None:
    """How strong an unmeasured cause would have to be."""
    names = {"perforation": "Perforation", "survival": "Implant failure"}

    def model(row) -> str:
        outcome = row["term"].partition(".")[0]
        return names.get(outcome, outcome)

    rows = material.quoted("sensitivity.evalue")
    labels = (
        ("Outcome", model),
        ("Term", lambda row: words.term(row["term"].partition(" ")[2])),
        ("For the interval", lambda row: decimal(row["conf_low"])),
    )
    return listing_table(
        material,
        rows,
        labels,
        "E-value of the estimate",
        "1 means that the interval holds no difference already. " + methods_of(rows),
    )


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

    rows = material.rows("sensitivity.detection_contrast")
    return listing_table(
        material,
        rows[~below_gate(rows) & (rows["estimate"].notna() | rows["problem"].eq(WITHHELD))],
        (("Contrast", term), ("Tears seen", seen)),
        "Odds ratio (95% interval)",
    )


def lost_table(material: Material, words: Words) -> Content | None:
    """Survival if the implants lost to follow-up fared best or worst, and what it takes to change the answer."""
    rows = material.results[
        material.results["analysis"].isin(["sensitivity.lost_implants", "sensitivity.tipping_point"])
    ]
    rows = rows[rows["estimate"].notna() | rows["problem"].eq(WITHHELD)]

    def case(row) -> str:
        if row["analysis"] == "sensitivity.tipping_point":
            return "Share of those lost to follow-up that must have failed to reach the interval's lower limit"
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
    rows = material.rows("measurement.icc")
    return listing_table(
        material,
        rows[rows["estimate"].notna() | rows["problem"].eq(WITHHELD)],
        labels,
        "Correlation (95% interval)",
    )


NOTHING_TO_COMPARE = remark("no_estimate_to_compare")
REFITTED = {
    "perforation.rate": "Share perforated, Wilson's interval",
    "perforation.gee": "What goes with a perforation, estimating equations",
    "survival.km": "Implant survival, Kaplan-Meier",
    "survival.competing": "Failure with death competing, Aalen-Johansen",
    "survival.cox": "What goes with a failure, Cox model",
    "survival.interval": "Failures between two visits, Weibull model",
    "gain.mixed": "Bone gain, mixed model",
}


def second_opinion_table(material: Material, words: Words) -> Content | None:
    """How far the answers of other libraries lie from ours."""

    def apart(share) -> str:
        if missing(share):
            return ""
        return "equal to six digits" if share < TOLD else f"{100 * share:.2g} %"

    def text(cell) -> str:
        return "" if missing(cell) else str(cell)

    rows = [
        (
            REFITTED.get(row["analysis"], row["analysis"]),
            row["library"],
            count(row["n_compared"]),
            apart(row["estimate_difference"]),
            apart(row["error_difference"]),
            "; ".join(filter(None, (text(row["reason"]), text(row["problem"])))),
        )
        for _, row in material.table("second_opinion").iterrows()
        if row["problem"] != NOTHING_TO_COMPARE
    ]
    return content_of(
        ("Question", "Refitted by", "Numbers", "Estimates differ by", "Standard errors differ by", "Why"),
        rows,
        "The largest relative difference over the numbers compared; of Wilson's interval, that of its length.",
    )

"""What could change the answers: unmeasured causes, overlooked perforations, loss to follow-up, how alike sites are."""

from __future__ import annotations

import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.sensitivity.icc import OF_PATIENT, OF_SITE
from liftseries.models.sensitivity.lost import BEST, OBSERVED, SHARE, WORST
from liftseries.models.sensitivity.second_opinion import TOLD
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import reference_in
from liftseries.report.kit.numbers import count, decimal, missing
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate, numbers
from liftseries.report.kit.tables.listing import listing_table
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.say import say
from liftseries.report.sensitivity.quoted import contrast_rows, detection_rows, icc_rows, lost_implants, lost_rows

OUTCOMES = {"perforation": "Perforation", "survival": "Implant failure"}


def evalue_table(material: Material, words: Words) -> Content | None:
    """How strong an unmeasured cause would have to be."""

    def outcome(row) -> str:
        name = row["term"].partition(".")[0]
        return OUTCOMES.get(name, name)

    labels = (
        ("Outcome", outcome),
        ("Term", lambda row: words.term(row["term"].partition(" ")[2])),
        ("For the interval", lambda row: decimal(row["conf_low"])),
    )
    rows = material.quoted("sensitivity.evalue")
    return listing_table(material, rows, labels, "E-value", say("sensitivity.evalue_note"))


def detection_table(material: Material, words: Words) -> Content | None:
    """What the shares would be if only some of the perforations were seen: a column a share seen."""
    rows = detection_rows(material)
    seen = list(dict.fromkeys(rows["term"]))
    printed = []
    for subset, of_subset in rows.groupby("subset", sort=False):
        of_term = {row["term"]: row for _, row in of_subset.iterrows()}
        first = of_subset.iloc[0]
        cells = (estimate(of_term[term]) if term in of_term else "" for term in seen)
        keys = "; ".join(trace_of(row) for row in of_term.values())
        printed.append(
            (words.subset(str(subset)), *cells, " / ".join((count(first["n_events"]), count(first["n_sites"]))), keys)
        )
    heads = ("", *(f"{_whole_percent(term)} seen" for term in seen), "Perforated / sites", TRACE)
    return content_of(heads, printed, say("sensitivity.detection_note"))


def detection_contrast_table(material: Material, words: Words) -> Content | None:
    """What a contrast would be if perforations were seen more often in one group: a row and a column a share seen."""
    grid: dict[tuple[str, str], dict[str, pd.Series]] = {}
    for _, row in contrast_rows(material).iterrows():
        contrast, _, seen = row["term"].rpartition(" ")
        reference, _, other = seen.partition("/")
        grid.setdefault((contrast, reference), {})[other] = row
    others = list(dict.fromkeys(other for of_row in grid.values() for other in of_row))
    printed = []
    for (contrast, reference), of_row in grid.items():
        label = f"{_reference(contrast, next(iter(of_row.values())), words)}: {_whole_percent(reference)} seen"
        cells = (estimate(of_row[other]) if other in of_row else "" for other in others)
        printed.append((label, *cells, "; ".join(map(trace_of, of_row.values()))))
    levels = " / ".join(dict.fromkeys(_plain(contrast.partition("[")[2].removesuffix("]")) for contrast, _ in grid))
    heads = ("", *(f"{levels}: {_whole_percent(other)} seen" for other in others), TRACE)
    return content_of(heads, printed, say("sensitivity.contrast_note"))


def _reference(contrast: str, row, words: Words) -> str:
    column = contrast.partition("[")[0]
    return _plain(reference_in(str(row["note"]), column) or words.reference(column))


def _plain(level: str) -> str:
    """`Guided` for `guided`."""
    return level.replace("_", " ").capitalize()


def _whole_percent(share: str) -> str:
    return f"{100 * float(share):g}%"


def lost_table(material: Material, words: Words) -> Content | None:
    """Survival if the implants lost to follow-up fared best or worst, and what it takes: a row a month."""
    printed = []
    quoted = {float(row["term"]): row for _, row in material.quoted("survival.km").iterrows() if row["subset"] == "all"}
    for month, cases in lost_rows(material).items():
        observed, tipping = cases[OBSERVED], cases.get(SHARE)
        keys = "; ".join(trace_of(row) for row in (quoted[month], *cases.values()))
        lost = lost_implants(tipping)
        printed.append(
            (
                f"{month:g}",
                estimate(quoted[month]),
                *(estimate(cases[case]) if case in cases else "" for case in (BEST, WORST)),
                count(lost),
                "" if tipping is None else estimate(tipping),
                *numbers(observed),
                keys,
            )
        )
    heads = (
        "Month", "As quoted (95% interval)", "All lost in function", "All lost failed", "Lost implants",
        "Tipping point", "Sites", "Patients", TRACE,
    )  # fmt: skip
    return content_of(heads, printed, say("sensitivity.lost_note"))


def icc_table(material: Material, words: Words) -> Content | None:
    """How alike the sites of a patient are, and the visits of a site."""
    rows = icc_rows(material)
    labels = (
        ("Quantity", lambda row: words.column(row["term"])),
        ("Between", lambda row: say(f"sensitivity.two_{'visits' if row['method'] == OF_SITE else 'sites'}")),
    )
    of_visits = rows["method"].isin([OF_PATIENT, OF_SITE])
    told = {"sensitivity.icc_of_one_way": ~of_visits, "sensitivity.icc_of_visits": of_visits}
    note = " ".join(say(name) for name, which in told.items() if which.any())
    return listing_table(material, rows, labels, "Correlation (95% interval)", note)


NOTHING_TO_COMPARE = remark("no_estimate_to_compare")
REFITTED = {
    "perforation.rate": "Share perforated, Wilson's interval",
    "perforation.gee": "What is associated with a perforation, estimating equations",
    "survival.km": "Implant survival, Kaplan-Meier",
    "survival.competing": "Failure with death competing, Aalen-Johansen",
    "survival.cox": "What is associated with a failure, Cox model",
    "survival.interval": "Failures between two visits, Weibull model",
    "gain.mixed": "Bone gain, mixed model",
}


def second_opinion_table(material: Material, words: Words) -> Content | None:
    """How far the answers of other libraries lie from ours: a file alone."""

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
    heads = ("Question", "Refitted by", "Numbers", "Estimates differ by", "Standard errors differ by", "Why")
    return content_of(heads, rows, say("sensitivity.opinion_note"))

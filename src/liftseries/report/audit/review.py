"""Cases to review in the report: the most serious ones in a table, and the rule that lists them."""

from __future__ import annotations

from collections.abc import Iterator

from liftseries.report.audit.records_written import MOST_RECORDS
from liftseries.report.kit.blocks import Block, Listing, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import decimal, missing
from liftseries.report.kit.tables.cells import Content, content_of
from liftseries.report.kit.words import Words, shortened
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

CASES, RULE = "audit_cases_to_review", "audit_review_rule"
HEADINGS = (
    "No.",
    "Site",
    "Unit, year",
    "Reasons",
    "Residual bone height, mm",
    "Deepest pass, mm (beyond the floor)",
    "Membrane",
    "Implant",
)


def review_table(material: Material, words: Words) -> Content | None:
    """The most serious cases; None where no case is listed. Single records: they never leave the house."""
    titles = reason_titles(material)
    rows = [
        (
            str(int(case["place"])),
            shortened(str(case["site_id"]), 24),
            ", ".join(_text(case[name]) for name in ("unit", "surgery_year") if not missing(case[name])),
            _reasons(case, titles),
            " to ".join(decimal(case[name], 1) for name in ("rbh_min_mm", "rbh_max_mm")),
            _deepest(case),
            _membrane(case),
            _implant(case),
        )
        for _, case in material.table(CASES).head(MOST_RECORDS).iterrows()
    ]
    return content_of(HEADINGS, rows, say("audit_extra.cases_note"))


def review_blocks(writer: Writer) -> Iterator[Block]:
    """How many cases are listed, by which rule, and the most serious of them."""
    material = writer.material
    n_sites = len(material.table(CASES))
    if not n_sites:
        yield Paragraph(say("audit_extra.cases_none"))
        return
    yield Paragraph(say("audit_extra.cases_listed", n_sites=n_sites, n_shown=min(n_sites, MOST_RECORDS)))
    reasons = tuple(
        say("audit_extra.case_reason", title=reason["title"], n_sites=reason["n_sites"])
        for _, reason in material.table(RULE).iterrows()
    )
    yield Listing(say("audit_extra.case_rule"), reasons)
    yield from writer.table("cases_to_review")


def reason_titles(material: Material) -> dict[str, str]:
    """Reason of the listing rule -> its title."""
    rule = material.table(RULE)
    return dict(zip(rule["name"], rule["title"], strict=True))


def _text(value) -> str:
    return str(int(value)) if isinstance(value, float) else shortened(str(value), 24)


def _reasons(case, titles: dict[str, str]) -> str:
    """The reasons, the most serious first."""
    first, *others = (titles.get(name, name.replace("_", " ")) for name in str(case["reasons"]).split())
    return "; ".join([first, *(other[:1].lower() + other[1:] for other in others)])


def _deepest(case) -> str:
    if missing(case["achieved_last_mm"]):
        return ""
    beyond = "" if missing(case["overdrill_mm"]) else f" ({decimal(case['overdrill_mm'], 1)})"
    return f"{decimal(case['achieved_last_mm'], 1)}{beyond}"


def _membrane(case) -> str:
    if case["perforation"] != "yes":
        return {"no": "intact"}.get(case["perforation"], "not known")
    size = case["perforation_mm"]
    if missing(size):
        return say("audit_extra.case_torn")
    return say("audit_extra.case_torn_size", size=float(size))


def _implant(case) -> str:
    if not missing(case["failed_months"]):
        return say("audit_extra.case_lost", months=float(case["failed_months"]))
    if case["placement"] == "none":
        return "none placed"
    return "not seen since" if missing(case["status"]) else str(case["status"]).replace("_", " ")

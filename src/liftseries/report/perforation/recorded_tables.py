"""Perforations as recorded, in tables: stage, test, management, size; what followed; by the operator's case number."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.base.remarks import remarks_in
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, is_withheld, missing, percent, share_of
from liftseries.report.kit.tables.cells import TRACE, Content, content_of
from liftseries.report.kit.tables.described import recorded, roundly, share_interval
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.english import TEMPLATES
from liftseries.report.languages.say import say
from liftseries.report.perforation.sentences import is_bound, may_be_compared, share_row

PERFORATED, NOT_PERFORATED = "perforation=yes", "perforation=no"
ROWS = {"perforation.stage": "stage", "perforation.test": "test", "perforation.management": "management"}


def tears_table(material: Material, words: Words) -> Content | None:
    """Perforations: stage, test, management, size; None where there are too few, or nothing of it was recorded."""
    if not may_be_compared(share_row(material)):
        return None
    rows = [line for analysis, kind in ROWS.items() for line in _shares(recorded(material.rows(analysis)), kind)]
    rows += _size(recorded(material.rows("perforation.size")))
    heads = ("", "Perforations", "Share (95% interval), or median [quartiles]", TRACE)
    return content_of(heads, rows, say("perforation.tears_note"))


def _shares(rows: pd.DataFrame, kind: str) -> Iterable[tuple[str, ...]]:
    """A line a level; of stages and ways of managing only those that occurred."""
    if kind != "test":
        rows = rows[pd.to_numeric(rows["n_events"]).fillna(0).ne(0)]
    for _, row in rows.iterrows():
        share = share_interval(row)
        bound = missing(row["estimate"]) or missing(row["conf_low"]) or is_bound(row)
        told = share if bound else f"{percent(row['estimate'])} ({share})"
        n = f"{count(row['n_events'])} of {count(row['n_sites'])}"
        yield level_words(kind, row["term"]), n, told, trace_of(row)


def level_words(kind: str, level: str) -> str:
    """How a stage, a test or a way of managing is named in the table; a level of none of our names is itself."""
    if kind == "test":
        none = level == "none"
        return say("perforation.row_test_none") if none else say("perforation.row_test", test=test_words(level))
    name = f"perforation.row_{kind}_{level}"
    return say(name) if name in TEMPLATES else say(f"perforation.row_{kind}_else", level=level.replace("_", " "))


def test_words(test: str) -> str:
    """`Valsalva manoeuvre`."""
    name = f"perforation.by_{test}"
    return say(name) if name in TEMPLATES else test.replace("_", " ")


def _size(rows: pd.DataFrame) -> Iterable[tuple[str, ...]]:
    of_term = {row["term"]: row for _, row in rows.iterrows()}
    found = [of_term.get(name) for name in ("median", "q1", "q3")]
    if any(row is None or missing(row["estimate"]) for row in found) or not found[0]["headline"]:
        return
    n = found[0]["n_sites"]
    median, low, high = (row["estimate"] for row in found)
    yield (
        say("perforation.row_size"),
        count(n) if is_withheld(n) else say("perforation.measured", n=int(n)),
        say("perforation.median", median=median, low=low, high=high),
        "; ".join(map(trace_of, found)),
    )


def sequel_table(material: Material, words: Words) -> Content | None:
    """What followed at perforated sites and at the others, as counts; None where there are too few perforations."""
    rows = recorded(material.rows("perforation.sequel"))
    of = {subset: {row["term"]: row for _, row in rows[rows["subset"].eq(subset)].iterrows()} for subset in
          (PERFORATED, NOT_PERFORATED)}  # fmt: skip
    if not may_be_compared(share_row(material)) or not of[PERFORATED] or not of[NOT_PERFORATED]:
        return None
    printed = []
    for term in of[PERFORATED]:
        pair = [of[subset].get(term) for subset in of]
        if term == "months" or any(row is None for row in pair) or not any(row["n_events"] for row in pair):
            continue
        name = f"perforation.sequel_row_{term}"
        told = say(name) if name in TEMPLATES else term.replace("_", " ").capitalize()
        cells = (roundly(row) or share_of(row["n_events"], row["n_sites"]) for row in pair)
        printed.append((told, *cells, "; ".join(map(trace_of, pair))))
    months = [of[subset].get("months") for subset in of]
    if any(row is None or missing(row["estimate"]) for row in months):
        followed, keys = say("perforation.months_unknown"), []
    else:
        first, second = (row["estimate"] for row in months)
        followed, keys = say("perforation.months", first=first, second=second), list(map(trace_of, months))
    note = say("perforation.sequel_note", months=followed)
    return content_of(("", "Perforated sites", "Other sites", TRACE), printed, note, keys)


def learning_table(material: Material, words: Words) -> Content | None:
    """Perforations by the operator's case number; None below the events that a comparison needs."""
    rows = recorded(material.rows("perforation.learning"))
    if not bands_may_be_compared(rows):
        return None
    printed = [
        (
            case_band(row).replace(">", "above "),
            share_of(row["n_events"], row["n_sites"]),
            share_interval(row),
            count(operators(row)),
            trace_of(row),
        )
        for _, row in rows.iterrows()
    ]
    heads = ("Operator's case number", "Perforated", "95% interval", "Operators", TRACE)
    return content_of(heads, printed, say("perforation.learning_note"))


def bands_may_be_compared(learning: pd.DataFrame) -> bool:
    """Whether there are perforations enough for the report to set bands of case numbers side by side."""
    return bool(len(learning) and learning["headline"].astype(bool).any())


def case_band(row) -> str:
    """`1 to 10`, `>40`."""
    return str(row["subset"]).partition("=")[2]


def operators(row) -> int | None:
    """How many operators had cases in a band, as its note says."""
    if missing(row["note"]):
        return None
    return next((one.holes["n_operators"] for one in remarks_in(row["note"]) if one.name == "by_operators"), None)

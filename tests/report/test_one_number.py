"""One number a question: what texts, tables and figures print of an estimate is its headline row."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import pandas as pd
import pytest

from liftseries.base.remarks import names_in
from liftseries.models.questions import ANALYSES
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.report.kit.blocks import Written
from liftseries.report.kit.numbers import interval
from liftseries.report.kit.tables.cells import written
from liftseries.report.kit.words import trace_of

# Where the same question is answered by other methods beside the headline.
BY_OTHER_METHODS = {
    "perforation_methods", "survival_methods", "hazard_methods", "bone_methods", "depth_agreement", "depth_read",
    "perforation_validation",
}  # fmt: skip
# A note that tells not to lean on a number.
NOT_TO_LEAN_ON = {
    "few_events", "narrow_by_clustering", "quoted_instead", "below_gate_no_ratio", "below_gate_terms",
    "below_gate_curve", "below_gate_prediction", "below_gate_diagnostics", "below_gate_evalue", "below_gate_at_risk",
    "below_gate_measurements",
}  # fmt: skip
NUMBER = r"[−<>]?\d[\d.]*%?"
INTERVAL = re.compile(rf"{NUMBER} \({NUMBER} to {NUMBER}\)")


@pytest.fixture(scope="module", params=["full", "one_level"])
def told(request, made, written, drawings) -> tuple[Written, pd.DataFrame, dict]:
    """What is written of a series, its rows of results.csv, and its figures in words."""
    alts = {name: one.alt for name, one in drawings[request.param].items() if one is not None}
    return written[request.param], made[request.param].left["results.csv"], alts


def blocks(found: Written) -> list:
    """Every block of the report and of its supplement, an answer of the first page as one of its own."""
    inside = [block for report in found.reports for chapter in report.chapters for block in chapter.blocks]
    return [one for block in inside for one in (block.items if block.kind == "answers" else (block,))]


def printed(found: Written, figures: dict) -> Iterator[tuple[str, str]]:
    """Every text with its place: the kind of block, or the name of the table or figure."""
    for block in blocks(found):
        kind = getattr(block, "kind", "answer")
        if kind == "table":
            yield from ((block.display.name, cell) for row in block.display.rows for cell in row)
        elif kind in ("paragraph", "answer"):
            yield kind, block.text
        elif kind == "listing":
            yield from ((kind, item) for item in block.items)
    yield from figures.items()


def forms(row: pd.Series) -> set[str]:
    """How an estimate may be printed with its interval: as it is, or turned round to tell a difference's size."""
    numbers = [row[name] for name in ("estimate", "conf_low", "conf_high")]
    turned = [-numbers[0], -numbers[2], -numbers[1]]
    as_written = written(str(row["scale"]))
    found = {interval(*numbers, as_written), interval(*turned), interval(*numbers, lambda value: f"{value:.1f}")}
    return {form for form in found if INTERVAL.fullmatch(form)}


def printed_forms(rows: pd.DataFrame) -> set[str]:
    return {form for _, row in rows[rows["conf_high"].notna()].iterrows() for form in forms(row)}


def test_every_interval_printed_is_that_of_a_headline_row(told):
    found, rows, figures = told
    has_headline = rows["analysis"].map(lambda name: bool(name in ANALYSES and ANALYSES[name].headline))
    quoted = printed_forms(rows[rows["headline"].astype(bool)])
    free = printed_forms(rows[~has_headline & rows["analysis"].ne(DESIGN_EFFECT)])
    intervals = [
        (place, text)
        for place, words in printed(found, figures)
        if place not in BY_OTHER_METHODS
        for text in INTERVAL.findall(words)
    ]
    assert len(intervals) > 40
    astray = [(place, text) for place, text in intervals if text not in quoted | free]
    assert not astray, astray


def test_no_text_quotes_what_its_note_tells_not_to_lean_on(told):
    found, rows, _ = told
    noted = {trace_of(row): row for _, row in rows.iterrows() if names_in(row["note"]) & NOT_TO_LEAN_ON}
    texts = [
        (getattr(block, "text", ""), source)
        for block in blocks(found)
        for source in getattr(block, "source", "").split("; ")
    ]
    assert len({source for _, source in texts}) > 10
    for text, source in texts:
        if source in noted:  # an interval that may be too narrow is not printed; its estimate may be
            assert names_in(noted[source]["note"]) & NOT_TO_LEAN_ON == {"narrow_by_clustering"}, source
            assert not any(form in text for form in forms(noted[source])), source


def test_a_question_has_one_headline(told):
    """Of each analysis, subset and term one row; of analyses that answer the same question one of them."""
    _, rows, _ = told
    headline = rows[rows["headline"].astype(bool)]
    answers = headline["analysis"].map(lambda name: ANALYSES[name].answers or name if name in ANALYSES else name)
    one = headline.assign(answers=np.where(headline["scale"].eq("E-value"), headline["analysis"], answers))
    assert not one.duplicated(["answers", "analysis", "subset", "term"]).any()
    made = set(zip(headline["analysis"], headline["method"], strict=True))
    assert not {(name, method) for name, method in made if method not in ANALYSES[name].headline}

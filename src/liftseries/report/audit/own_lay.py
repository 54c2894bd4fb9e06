"""The lay half page: the audit in counts of a hundred, for boards and patients."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import pandas as pd

from liftseries.models.audit.units import in_period
from liftseries.report.audit.found import PERFORATION, period, years_in_words
from liftseries.report.audit.run_tables import RunTables
from liftseries.report.kit.numbers import missing
from liftseries.report.languages.say import say

LOST, HARM, RECEIVED = "failure_in_a_year", "harm_in_a_year", "cases_received"


def lay_page(run: RunTables) -> dict[str, Any]:
    """What the half page says, as `reports/sheet.typ` reads it."""
    return {
        "mark": say("audit_extra.for_lay"),
        "title": say("audit_extra.lay_title", years=years_in_words(run)),
        "paper": "a5",
        "flipped": True,
        "size": 11,
        "lines": [*_found(run), *_done(run)],
        "sections": [],
        "foot": say("audit_extra.lay_no_names"),
    }


def _found(run: RunTables) -> Iterator[str]:
    cases, years = run.cases, period(run)
    inside = cases[in_period(cases, years)]
    yield say("audit_extra.lay_sites", n_sites=len(inside), n_patients=inside["patient_id"].nunique())
    strips = run.left("audit_indicator_strips")
    everyone = {strip["indicator"]: strip for _, strip in strips[strips["unit"].eq("all")].iterrows()}
    smallest = int(run.plan["sharing"]["smallest_cell"])
    for name, sentence in ((PERFORATION, "lay_tear"), (LOST, "lay_lost"), (HARM, "lay_harm")):
        share = _of_100(everyone.get(name), smallest)
        if share:
            yield say(f"audit_extra.{sentence}", share=share)
    tears = everyone.get(PERFORATION)
    if tears is not None and not missing(tears["unknown"]) and int(tears["unknown"]) >= smallest:
        yield say("audit_extra.lay_unknown", n_sites=int(tears["unknown"]))
    received = everyone.get(RECEIVED)
    if received is not None and not missing(received["value"]):
        if received["value"] >= 1:
            yield say("audit_extra.lay_received_all")
        else:
            about = say("audit_extra.lay_about", n=math.floor(100 * received["value"]))
            yield say("audit_extra.lay_received", share=about)


def _done(run: RunTables) -> Iterator[str]:
    status = run.checked("actions")["status"].astype(object)
    if status.notna().any():
        counts = {"done": status.eq("done"), "open": status.isin(["open", "overdue"]), "dropped": status.eq("dropped")}
        yield say("audit_extra.lay_actions", **{name: int(which.sum()) for name, which in counts.items()})


def _of_100(strip: pd.Series | None, smallest: int) -> str:
    """`about 7`; of fewer events than may be shown `fewer than 3`; empty where nothing can be said."""
    if strip is None or missing(strip["value"]) or missing(strip["counted"]) or int(strip["counted"]) < 100 / smallest:
        return ""
    if not missing(strip["n_events"]) and int(strip["n_events"]) < smallest:
        return say("audit_extra.lay_few", few=math.ceil(100 * smallest / int(strip["counted"])))
    value = 100 * float(strip["value"])
    return say("audit_extra.lay_about", n=value) if value >= 0.5 else say("audit_extra.lay_fewer_than_one")

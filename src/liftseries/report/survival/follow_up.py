"""How long and how completely implants were followed: sentences."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.survival.time_observed import EARLY_MONTHS
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, decimal, interval, is_withheld, missing
from liftseries.report.kit.sentences import first, last, source
from liftseries.report.kit.tables.cells import estimate
from liftseries.report.languages.say import say
from liftseries.report.survival.sentences import quoted_survival


def value_of(material: Material, analysis: str, term: str):
    """The row of a term that has an estimate, or None."""
    rows = material.rows(analysis, "all")
    return first(rows[rows["term"].eq(term) & rows["estimate"].notna()])


def failure_sentences(material: Material) -> Iterable[Block]:
    """Failures per 100 implant-years, early and late, and the patients who had them."""
    failed = {term: value_of(material, "followup.failures", term) for term in ("all", "early", "late", "patients")}
    rate = value_of(material, "followup.rate", "rate")
    years = value_of(material, "followup.implant_years", "sum")
    if any(row is None for row in (rate, years, *failed.values())):
        return
    over = decimal(years["estimate"], 0)
    told = [rate, years, *failed.values()]
    if failed["all"]["estimate"]:
        holes = {hole: int(failed[term]["estimate"]) for hole, term in (("failures", "all"), ("patients", "patients"))}
        holes |= {term: int(failed[term]["estimate"]) for term in ("early", "late")}
        text = say("survival.failures", rate=per_100(rate), years=over, month=f"{EARLY_MONTHS:g}", **holes)
    else:
        text = say("survival.no_failure", years=over, rate=per_100(rate))
        told = [rate, years]
    yield Paragraph(text, "; ".join(source(row) for row in told))


def per_100(row) -> str:
    """Failures per 100 implant-years with their interval; a bound where nothing failed."""
    if missing(row["std_error"]) and not row["estimate"] and not missing(row["conf_high"]):
        return say("survival.at_most", high=decimal(row["conf_high"]))
    return interval(row["estimate"], row["conf_low"], row["conf_high"])


def follow_up_sentences(material: Material) -> Iterable[Block]:
    """Median follow-up; of the implants due at a month how many are known and lost; how many were not yet due."""
    median = value_of(material, "followup.median", "median")
    parts, told = [], []
    if median is not None:
        parts.append(say("survival.median", months=months(median)))
        told.append(median)
    row, counts = due_at(material)
    if row is not None and counts is not None:
        parts.append(
            say(
                "survival.due",
                month=row["term"],
                due=counts["n_due"],
                known=count(row["n_events"]),
                share=estimate(row),
                lost=counts["n_lost"],
            )
        )
        if is_withheld(counts["n_not_yet_due"]) or counts["n_not_yet_due"]:
            parts.append(say("survival.not_yet_due", implants=counts["n_not_yet_due"]))
        told.append(row)
    if parts:
        yield Paragraph(" ".join(parts), "; ".join(source(one) for one in told))


def months(row) -> str:
    """Months with one decimal."""
    return interval(row["estimate"], row["conf_low"], row["conf_high"], lambda value: decimal(value, 1))


def due_at(material: Material) -> tuple[pd.Series | None, pd.Series | None]:
    """The completeness at the last month at which survival is quoted, else any was due, and its counts."""
    rows = material.rows("followup.completeness", "all")
    rows = rows[rows["estimate"].notna()]
    quoted = last(rows[rows["term"].isin(quoted_survival(material)["term"])])
    row = last(rows) if quoted is None else quoted
    if row is None:
        return None, None
    table = material.table("followup_by_month")
    return row, first(table[table["months"].eq(float(row["term"]))])


def closing_sentences(material: Material) -> Iterable[Block]:
    """When the data were closed, and the quartiles of follow-up."""
    parts = []
    given, implied = material.plan["study"].get("data_until", ""), material.table("followup_closed")
    if given:
        parts.append(say("survival.closed", month=given))
    elif len(implied) and not missing(implied["month"].iloc[0]):
        parts.append(say("survival.closed_implied", month=implied["month"].iloc[0]))
    quartiles = [value_of(material, "followup.median", term) for term in ("q1", "q3")]
    if all(row is not None for row in quartiles):
        q1, q3 = (months(row) for row in quartiles)
        parts.append(say("survival.quartiles", q1=q1, q3=q3))
    if parts:
        yield Paragraph(" ".join(parts), "; ".join(source(row) for row in quartiles if row is not None))

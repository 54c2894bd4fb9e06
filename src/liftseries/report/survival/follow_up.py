"""How long and how completely implants were followed: sentences, and the paragraph of the methods."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.shared.due import STAGED_MONTHS, WINDOW_MONTHS
from liftseries.models.survival.time_observed import EARLY_MONTHS
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, counted, decimal, interval, is_withheld, missing, percent
from liftseries.report.kit.sentences import first, last, source
from liftseries.report.kit.writer import Writer


def follow_up_sentences(material: Material) -> Iterable[Block]:
    """How long implants were followed, how many were seen of those due, and how many failed in that time."""
    yield from _how_long(material)
    yield from _how_completely(material)
    yield from _failures(material)


def value_of(material: Material, analysis: str, term: str):
    """The row of a term that has an estimate, or None."""
    rows = material.rows(analysis, "all")
    return first(rows[rows["term"].eq(term) & rows["estimate"].notna()])


def _how_long(material: Material) -> Iterable[Block]:
    median = value_of(material, "followup.median", "median")
    if median is None:
        return
    q1, q3 = (value_of(material, "followup.median", term) for term in ("q1", "q3"))
    quartiles = f", quartiles {decimal(q1['estimate'], 1)} and {decimal(q3['estimate'], 1)}" if _both(q1, q3) else ""
    years = value_of(material, "followup.implant_years", "sum")
    over = f", in all {decimal(years['estimate'], 0)} implant-years" if years is not None else ""
    yield Paragraph(f"The median follow-up was {months(median)} months{quartiles}{over}.", source(median))


def months(row) -> str:
    """Months with one decimal."""
    return interval(row["estimate"], row["conf_low"], row["conf_high"], lambda value: decimal(value, 1))


def _both(*rows) -> bool:
    return all(row is not None for row in rows)


def _how_completely(material: Material) -> Iterable[Block]:
    row, counts = last_due(material)
    if row is None or counts is None:
        return
    n_due = counts["n_due"]
    share = interval(row["estimate"], row["conf_low"], row["conf_high"], percent)
    n_lost = counts["n_lost"]
    lost = f"{count(n_lost)} {'was' if _one(n_lost) else 'were'} lost to follow-up before it"
    not_yet = counts["n_not_yet_due"]
    yield Paragraph(
        f"{closed_in_words(material)}At month {row['term']}, {counted(n_due, 'implant')} "
        f"{'was' if _one(n_due) else 'were'} due; how they fared then is known of {count(row['n_events'])}, {share}; "
        f"{lost}. {counted(not_yet, 'implant')} {'was' if _one(not_yet) else 'were'} not yet due, which is no loss.",
        source(row),
    )


def _one(n) -> bool:
    return not is_withheld(n) and int(n) == 1


def last_due(material: Material) -> tuple[pd.Series | None, pd.Series | None]:
    """The completeness at the last month at which survival is stated and any implant was due, and its counts."""
    rows = material.rows("followup.completeness", "all")
    stated = [f"{month:g}" for month in material.asked["survival_months"]]
    row = last(rows[rows["term"].isin(stated) & rows["estimate"].notna()])
    if row is None:
        return None, None
    table = material.table("followup_by_month")
    return row, first(table[table["months"].eq(float(row["term"]))])


def closed_in_words(material: Material) -> str:
    """When the data were closed, as a sentence; nothing where that may not be told."""
    given = material.plan["study"].get("data_until", "")
    if given:
        return f"The data were closed in {given}. "
    table = material.table("followup_closed")
    if table.empty:
        return ""
    return (
        f"The plan does not say when the data were closed; the latest month that the visits imply is "
        f"{table['month'].iloc[0]}. "
    )


def _failures(material: Material) -> Iterable[Block]:
    failed = {term: value_of(material, "followup.failures", term) for term in ("all", "early", "late", "patients")}
    rate = value_of(material, "followup.rate", "rate")
    if rate is None or not _both(*failed.values()) or not failed["all"]["estimate"]:
        return
    n = {term: int(row["estimate"]) for term, row in failed.items()}
    yield Paragraph(
        f"There were {per_100(rate)} failures per 100 implant-years. Found by month {EARLY_MONTHS:g} (early): "
        f"{counted(n['early'], 'failure')}; later (late): {counted(n['late'], 'failure')}; patients who bear them: "
        f"{n['patients']}.",
        source(rate),
    )


def per_100(row) -> str:
    """Failures per 100 implant-years with their interval; a bound where nothing failed."""
    if missing(row["std_error"]) and not row["estimate"] and not missing(row["conf_high"]):
        return f"0, at most {decimal(row['conf_high'])}"
    return interval(row["estimate"], row["conf_low"], row["conf_high"])


def of_follow_up(writer: Writer) -> Iterable[Paragraph]:
    """What is due, who is lost, how follow-up is measured."""
    yield Paragraph(
        lead="Follow-up",
        text=(
            "Of a surgery only the year is known, so an implant counts as due at a month only where it would have "
            "reached that month by the closing of the data even if it was placed on 31 December"
            f" (an implant placed at a second operation: {STAGED_MONTHS:g} months later). Without a month in "
            "study.yaml, the data are taken to have been closed in the latest month that the tables imply: of all "
            "visits the latest 1 January of the year of surgery plus months. A visit within "
            f"{WINDOW_MONTHS:g} months of a planned month is the visit of that month. Lost to follow-up before a "
            f"month: due, neither failed nor died, and last seen more than {WINDOW_MONTHS:g} months before it. An "
            "implant is known at a month if it was examined at that visit, or had failed or its patient had died by "
            "then. "
            "Median follow-up: reverse Kaplan-Meier (Schemper and Smith 1996, doi:10.1016/0197-2456(96)00075-X), in "
            "which the end of follow-up is the event and a failure or a death censors; its limits are where the "
            "patient-clustered log-log band crosses one half. Failures per implant-year: ratio with patients as "
            "clusters, interval on the log. Early: found by month "
            f"{EARLY_MONTHS:g}; the month of loading is seldom recorded."
        ),
    )

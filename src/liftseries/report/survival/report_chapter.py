"""Implant survival: the chapter of the report; and complications, in that on the clinical course."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.shared.gates import RATIO
from liftseries.models.survival.time_observed import EARLY_MONTHS
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, is_few, is_withheld, percent
from liftseries.report.kit.sentences import first, source
from liftseries.report.kit.tables.cells import estimate
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.survival.follow_up import failure_sentences, follow_up_sentences
from liftseries.report.survival.follow_up_tables import ANY, OTHER
from liftseries.report.survival.sentences import n_failures, survival_sentences


def blocks(writer: Writer) -> Iterable[Block]:
    """Survival at the months of the plan, failures, and how completely implants were followed."""
    material = writer.material
    if not material.has_visits:
        return
    yield from survival_sentences(material)
    yield from writer.figure("survival")
    yield from writer.table("survival")
    yield from failure_sentences(material)
    n = n_failures(material)
    if n is not None and 0 < n < RATIO:
        listed = "failed_implants" in writer.tables
        yield Paragraph(say("survival.listed" if listed else "survival.too_few", failures=n))
        yield from writer.table("failed_implants")
    yield from follow_up_sentences(material)


def complications(writer: Writer) -> Iterable[Block]:
    """Complications: any, the most frequent, those of the first year; by protocol in a table."""
    material = writer.material
    rates = material.rows("complications.rate", "all")
    rates = rates[rates["method"].eq("patients")]
    kinds = rates[~rates["term"].isin([ANY, OTHER])]
    # A kind withheld may be the commonest.
    told = kinds["estimate"].notna() & (kinds["n_events"].ge(0) | kinds["n_events"].map(is_few))
    kinds = kinds if told.all() else kinds.iloc[:0]
    whole = first(rates[rates["term"].eq(ANY) & rates["estimate"].notna()])
    if whole is not None:
        yield _complications(material, whole, kinds)
    yield from writer.table("complications")


def _complications(material: Material, whole: pd.Series, kinds: pd.DataFrame) -> Paragraph:
    if not whole["n_events"]:
        text = say("survival.no_complication", patients=whole["n_patients"], high=percent(whole["conf_high"]))
        return Paragraph(text, source(whole, "patients"))
    early = material.rows("complications.first_year", "all")
    early = first(early[early["method"].eq("patients") & early["term"].eq(ANY) & early["estimate"].notna()])
    told, at_any = [whole], _recorded(whole, "at_any")
    if early is None:
        parts = [say("survival.complications_any", any=at_any)]
    else:
        told.append(early)
        by_month = _recorded(early, "early", month=f"{EARLY_MONTHS:g}")
        parts = [say("survival.complications", any=at_any, early=by_month)]
    most = kinds[kinds["n_events"].eq(kinds["n_events"].max()) & kinds["n_events"].gt(0)]
    if len(most):
        holes = {"patients": _of(most.iloc[0]), "share": estimate(most.iloc[0])}
        names = [str(kind).replace("_", " ") for kind in most["term"]]
        alone = len(names) == 1
        name = {"kind": names[0]} if alone else {"kinds": names}
        parts.append(say("survival.commonest" if alone else "survival.commonest_alike", **name, **holes))
        told += [row for _, row in most.iterrows()]
    return Paragraph(" ".join(parts), "; ".join(source(row, "patients") for row in told))


def _recorded(row, when: str, **holes: str) -> str:
    """How many patients and their share; the share alone where the number is not told."""
    holes |= {"all": row["n_patients"], "share": estimate(row)}
    if is_withheld(row["n_events"]) and not is_few(row["n_events"]):
        return say(f"survival.share_{when}", **holes)
    return say(f"survival.recorded_{when}", patients=count(row["n_events"]), **holes)


def _of(row) -> str:
    return say("survival.of", patients=count(row["n_events"]), all=count(row["n_patients"]))

"""Adherence to the drilling plan: the chapter of the report."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.base.remarks import remark
from liftseries.models.depth.perforation import AS_PLANNED
from liftseries.models.depth.shares import UNJUDGED
from liftseries.report.depth.sentences import (
    adherence_row,
    agreement_sources,
    agreement_told,
    ends,
    has_log,
    limits_rows,
    n_left_out,
    n_of,
    ranked,
    share_told,
    sources,
)
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.entangled import guided_by_protocol
from liftseries.report.kit.material import Material
from liftseries.report.kit.sentences import small, source
from liftseries.report.kit.words import DEVIATIONS
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

NO_LADDER, END_UNKNOWN = remark("number_missing", column="planned_last_mm"), remark("label_unknown", column="ended")


def blocks(writer: Writer) -> Iterable[Block]:
    """How the drilling ended, who kept the plan, deviations, guided against freehand, perforations; how sure."""
    material = writer.material
    if not has_log(material):
        return
    yield Paragraph(say("depth.plan", **plan_lengths(material)), lead=say("depth.lead_plan"))
    told = [*_ended(material), *_kept(material), *_deviations(material)]
    yield from told
    yield from writer.figure("adherence")
    yield from _by_approach(material)
    yield from _perforated(material)
    if told:
        yield from _how_sure(material)


def plan_lengths(material: Material) -> dict[str, str | float]:
    """The lengths of the plan that a ladder is made with."""
    margin = material.asked["first_depth_margin_mm"]
    one = margin["guided"] == margin["freehand"]
    told = say("depth.margin_of_both", margin=margin["guided"]) if one else say("depth.margin", **margin)
    return {"margin": told, "step": material.asked["step_mm"]}


def _ended(material: Material) -> Iterable[Block]:
    """How the drilling ended, and at which sites with a log nothing can be said of it."""
    rows = material.quoted("depth.ended")
    if rows.empty:
        return
    told = [say("depth.ended", sites=rows["n_sites"].iloc[0], ends=ends(rows))]
    for name, reason in (("no_ladder", NO_LADDER), ("end_unknown", END_UNKNOWN)):
        n = n_left_out(material, "depth.ended", reason)
        told += [say(f"depth.{name}", sites=n)] if n else []
    yield Paragraph(" ".join(told), sources(rows), say("depth.lead_ended"))


def _kept(material: Material) -> Iterable[Block]:
    row = adherence_row(material)
    if row is None:
        return
    kept = say("depth.kept", n=row["n_events"], sites=row["n_sites"], share=share_told(row))
    text = " ".join(filter(None, (kept, _unjudged(material))))
    yield Paragraph(text, source(row), say("depth.lead_kept"))


def _unjudged(material: Material) -> str:
    """How many sites have no log, and how many logs tell too little."""
    n, n_no_log = (n_left_out(material, f"depth.{name}") for name in ("adherence", "deviations"))
    if n < 0 or n_no_log < 0:
        return say("depth.unjudged", sites=n)
    if n_no_log and n > n_no_log:
        return say("depth.no_log_and_little", sites=n_no_log, logs=n - n_no_log)
    if n_no_log:
        return say("depth.no_log", sites=n_no_log)
    return say("depth.little", logs=n) if n else ""


def _deviations(material: Material) -> Iterable[Block]:
    """The three commonest, and what the logs leave open."""
    rows = material.quoted("depth.deviations")
    rows = rows[rows["subset"].eq("all")]
    unjudged = rows["term"].str.endswith(UNJUDGED)
    judged, left_open = rows[~unjudged], list(ranked(rows[unjudged]))
    if judged.empty:
        return
    found = list(ranked(judged))
    if found:
        kinds = [
            say("depth.kind", kind=small(DEVIATIONS[row["term"]]), n=n_of(row, k > 0)) for k, row in enumerate(found)
        ]
        told = [say("depth.commonest", kinds=kinds)]
    else:
        told = [say("depth.no_deviation")]
    if left_open:
        kinds = [
            say(
                "depth.open_kind",
                kind=small(DEVIATIONS[row["term"].removesuffix(UNJUDGED)]),
                n=row["n_events"],
                sites=row["n_sites"],
            )
            for row in left_open
        ]
        told.append(say("depth.open_kinds", kinds=kinds))
    cited = pd.DataFrame([*found, *left_open]) if found or left_open else judged
    yield Paragraph(" ".join(told), sources(cited), say("depth.lead_deviations"))


def _by_approach(material: Material) -> Iterable[Block]:
    rows = material.quoted("depth.adherence")
    rows = rows[rows["subset"].str.startswith("approach=")]
    if len(rows) < 2:
        return
    levels = [
        say("depth.level", n=n_of(row, k > 0), level=row["subset"].partition("=")[2])
        for k, (_, row) in enumerate(rows.iterrows())
    ]
    shares = [
        say("depth.guided_share", share=share, protocol=protocol)
        for protocol, share in guided_by_protocol(material).items()
    ]
    why = say("depth.entangled", shares=shares) if len(shares) > 1 else say("depth.chosen")
    text = " ".join((say("depth.by_approach", levels=levels), why))
    yield Paragraph(text, sources(rows), say("depth.lead_approach"))


def _perforated(material: Material) -> Iterable[Block]:
    """Perforations with and without a deviation, where both are known."""
    quoted = material.quoted("depth.perforation")
    rows = {row["subset"]: row for _, row in quoted.iterrows()}
    wanted = [f"{AS_PLANNED}={level}" for level in ("yes", "no")]
    if not set(wanted) <= set(rows):
        return
    as_planned, deviated = (n_of(rows[subset], k > 0) for k, subset in enumerate(wanted))
    if not (as_planned and deviated):  # withheld
        return
    told = say("depth.perforated", as_planned=as_planned, deviated=deviated)
    yield Paragraph(f"{told} {say('depth.perforated_mind')}", sources(quoted), say("depth.lead_perforated"))


def _how_sure(material: Material) -> Iterable[Block]:
    read = limits_rows(material, "depth.read")
    told = [say("depth.worked_out"), *([agreement_told("depth.read", read)] if read else [])]
    yield Paragraph(" ".join(told), agreement_sources(read), say("depth.lead_sure"))

"""Limits and methods: the last chapter of the report."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.models.shared.gates import EVENTS_A_TERM, FEWEST_AT_RISK, MANY_TERMS, RATIO
from liftseries.models.shared.penalised import FIRST_TERMS
from liftseries.report.closing import not_possible as lacking
from liftseries.report.closing.limits import MODELS, limits
from liftseries.report.kit.blocks import Block, Listing, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.replicates import n_told
from liftseries.report.kit.sentences import small
from liftseries.report.kit.stages import has_log
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

LEVEL = 95  # percent, of all intervals
RATIOS = {
    "perforation": (MODELS["perforation_terms"], "closing.method_odds", "closing.method_odds_many"),
    "survival": (MODELS["survival_terms"], "closing.method_hazards", "closing.method_hazards_many"),
}


def blocks(writer: Writer) -> Iterable[Block]:
    """A short paragraph a limit, then the methods."""
    if writer.material.results.empty:
        return
    yield from limits(writer.material)
    yield Paragraph(" ".join(methods(writer.material)), lead=say("closing.lead_methods"))


def not_possible(writer: Writer) -> Iterable[Block]:
    """What was not possible, and why."""
    items = lacking.items(writer.material)
    if items:
        yield Listing(say("closing.not_possible"), items)


def methods(material: Material) -> tuple[str, ...]:
    """The methods in at most twelve sentences, of what this series has."""
    asked, margin = material.asked, material.asked["first_depth_margin_mm"]
    told = [say("closing.method_unit", level=LEVEL)]
    if has_log(material):
        told += [
            say(
                "closing.method_ladder",
                margin=margin_words(margin["guided"], margin["freehand"]),
                step=asked["step_mm"],
                tolerance=asked["depth_tolerance_mm"],
            ),
            say("closing.method_adherence"),
        ]
    if len(material.quoted("perforation.rate")):
        told.append(say("closing.method_share"))
    told += ratios(material, "perforation")
    if len(material.quoted("survival.km")):
        told.append(say("closing.method_survival", fewest=FEWEST_AT_RISK))
    told += ratios(material, "survival")
    if len(material.quoted("gain.mixed", "bone.marginal")):
        told.append(say("closing.method_gain"))
    told.append(say("closing.method_gates", ratio=RATIO, many=MANY_TERMS, each=EVENTS_A_TERM))
    imputed = pd.concat([material.rows("perforation.imputed"), material.rows("survival.imputed")])
    if imputed["estimate"].notna().any():
        sets = n_told(imputed, "imputations", asked["imputation"]["sets"])
        told.append(say("closing.method_missing", sets=sets))
    return (*told, say("closing.method_more"))


def ratios(material: Material, room: str) -> list[str]:
    """How the ratios that are quoted were made, and of which terms; nothing where none is."""
    analyses, penalised, many = RATIOS[room]
    rows = material.quoted(*analyses)
    if rows.empty:
        return []
    used = set(rows["term"].str.partition("[")[0]) if rows["method"].eq(FIRST_TERMS).any() else None
    terms = [term for term in material.asked[f"{room}_terms"] if used is None or term in used]
    named = [small(material.words.column(term)) for term in terms]
    return [say(penalised if rows["analysis"].iloc[0] == analyses[0] else many, terms=named)] if named else []


def margin_words(guided: float, freehand: float) -> str:
    """How far the first rung stays short of the floor, by approach where they differ."""
    if guided == freehand:
        return say("closing.margin", mm=guided)
    return say("closing.margins", guided=guided, freehand=freehand)

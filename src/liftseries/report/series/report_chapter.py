"""Who is in the series: the chapter of the report."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import is_withheld
from liftseries.report.kit.sentences import source
from liftseries.report.kit.stages import IN_SERIES, has_any, stages
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.series.answers import follow_up, where
from liftseries.report.series.counts import data_end


def blocks(writer: Writer) -> Iterable[Block]:
    """Who, where and when, what was set aside; the flow; the characteristics."""
    yield from who_where_when(writer.material)
    yield from writer.figure("flow")
    yield from writer.table("characteristics")


def who_where_when(material: Material) -> Iterable[Paragraph]:
    """One paragraph; none where nobody was counted."""
    row = stages(material).get(IN_SERIES)
    if row is None or not has_any(row["n_sites"]):
        yield Paragraph(say("series.no_counts"))
        return
    followed, of_follow_up = follow_up(material)
    several, of_several = sites_of_a_patient(material)
    odd = () if material.withheld else (oddities(material),)
    told = (where(material, row), several, set_aside(material), *odd, followed, data_end(material))
    yield Paragraph(" ".join(filter(None, told)), "; ".join(filter(None, (of_several, of_follow_up))))


def sites_of_a_patient(material: Material) -> tuple[str, str]:
    """How many patients have more than one site, of those whose membrane is known of; and the rows."""
    rows = material.rows("series.one_or_several", "all")
    of_term = {row["term"]: row for _, row in rows.iterrows()}
    one, several = of_term.get("tears one"), of_term.get("tears several")
    if one is None or several is None:
        return "", ""
    counts = one["n_patients"], several["n_patients"]
    if any(map(is_withheld, counts)) or not all(map(has_any, counts)):
        return "", ""
    sentence = say("series.several", patients=int(sum(counts)), several=int(counts[1]))
    return sentence, "; ".join((source(one), source(several)))


def set_aside(material: Material) -> str:
    """How many rows were set aside; that stays in the house."""
    if material.withheld:
        return say("series.set_aside_kept_in")
    refused = material.table("set_aside")
    if refused.empty:
        return say("series.nothing_set_aside")
    return say("series.set_aside", rows=len(refused.drop_duplicates(["table", "file", "row"])))


def corrected(material: Material) -> str:
    """How many cells were corrected over the files as sent, and by how many people; that stays in the house."""
    if material.withheld:
        return say("series.corrected_kept_in")
    counts = material.table("corrected").fillna({"table": "", "column": ""})
    every = counts[counts["table"].eq("")]
    if every.empty:
        return say("series.nothing_corrected")
    by_column, left_out = counts[counts["column"].ne("")], counts[counts["table"].ne("") & counts["column"].eq("")]
    told = {"rows": int(left_out["rows"].sum()), "people": int(every["people"].iloc[0])}
    if by_column.empty:
        return say("series.left_out_by_hand", **told)
    beside = say("series.corrected_beside", rows=told["rows"]) if told["rows"] else ""
    cells, columns = int(every["cells"].iloc[0]), len(by_column)
    return say("series.corrected", cells=cells, columns=columns, beside=beside, people=told["people"])


def oddities(material: Material) -> str:
    """How many entries are odd, by how many rules, and how many the plan accepts; that stays in the house."""
    if material.withheld:
        return say("series.oddities_kept_in")
    listed = material.table("oddities")
    if listed.empty:
        return say("series.nothing_odd")
    n = int(listed["accepted"].astype(bool).sum())
    accepted = say("series.oddities_accepted", entries=n) if n else ""
    return say("series.oddities", entries=len(listed), rules=listed["rule"].nunique(), accepted=accepted)

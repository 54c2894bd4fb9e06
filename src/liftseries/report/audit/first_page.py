"""The first page, which stands alone: for whom, cases received, findings, what no flag means, what to decide."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from liftseries.report.audit.cycle import actions_told, replies_told
from liftseries.report.audit.finding import Decision, Finding
from liftseries.report.audit.findings import findings
from liftseries.report.audit.indicators import ALL, RECEIVED, strip, strips_of
from liftseries.report.audit.units import (
    FUNNEL,
    counted_out,
    hidden,
    month_named,
    n_units,
    named,
    of_all,
    smallest_cell,
    units,
    why_not,
)
from liftseries.report.closing.as_read import empty_outcomes
from liftseries.report.kit.blocks import Answer, Answers, Block, Listing, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import decimal, listed, missing, percent
from liftseries.report.kit.sentences import small
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

MOST_NAMED = 4
DECISIONS = ("audit_page.head_what", "audit_page.head_owner", "audit_page.head_due", "audit_page.head_known")


def blocks(writer: Writer) -> Iterable[Block]:
    """The page that is read in two minutes."""
    material = writer.material
    yield Paragraph(about(material), lead=say("audit_page.lead_about"))
    yield Paragraph(policy(material), lead=say("audit_page.lead_policy"))
    read, rows = empty_outcomes(material)
    if read:
        yield Paragraph(read, rows, say("closing.lead_reading"))
    if received := cases_received(material):
        yield Paragraph(received, lead=say("audit_page.lead_received"))
    found = findings(material)
    if found:
        yield Answers(tuple(_answer(k, finding) for k, finding in enumerate(found, start=1)))
    yield Paragraph(flags(material), lead=say("audit_page.lead_flags"))
    if cleared := not_flagged(material):
        yield Paragraph(cleared, lead=say("audit_page.lead_cleared"))
    yield from decide(writer, found)
    if told := actions_told(material):
        yield Listing(*told)
    if replies := replies_told(material):
        yield Paragraph(replies, lead=say("audit_page.lead_replies"))
    yield Paragraph(say("audit_page.signed"))


def _answer(number: int, finding: Finding) -> Answer:
    sure = say("audit_page.sure", sure=small(finding.sure).rstrip("."))
    return Answer(say("audit_page.numbered", n=number, lead=finding.lead), finding.text, sure, finding.source)


def about(material: Material) -> str:
    """Units, period, closing of the data, for whom."""
    audit = material.asked["audit"]
    n, closed = len(units(material)), str(material.plan["study"].get("data_until") or "")
    years = [str(year) for year in sorted(audit["period"])]
    what = say(
        "audit_page.about",
        units=n_units(material, n),
        period=say("audit_page.period", years=years) if years else say("audit_page.all_years"),
    )
    told = [what, say("audit_page.closed", month=month_named(closed))] if closed else [what]
    against = "standard" if audit["centre"] == "standard" else "series"
    return " ".join([*told, say(f"audit_page.against_{against}"), say("audit_page.for_whom")])


def policy(material: Material) -> str:
    """What a flag means, and what follows it."""
    asked = material.asked["audit"]["policy"]
    stages = [small(stage["name"]) for stage in asked["stages"]]
    means = str(asked["flag_means"]).strip()
    return " ".join([means, say("audit_page.stages", stages=stages)] if stages else [means])


def cases_received(material: Material) -> str:
    """Cases received of those expected, those that sent fewer, and who sent nothing in a year."""
    row, cell = strip(strips_of(material), ALL, RECEIVED), smallest_cell(material)
    by_year = material.table("audit_received")
    if row is None or missing(row["value"]) or by_year.empty:
        return say("audit_page.none_expected")
    of_unit = by_year.groupby("unit", sort=False)[["received", "expected"]].sum()
    total = of_unit.sum()
    told = [
        say(
            "audit_page.received",
            n=counted_out(total["received"], total["expected"], cell),
            share=percent(total["received"] / total["expected"]),
        )
    ]
    silent = [
        say("audit_page.silent_unit", unit=named(material, str(one["unit"])), year=int(one["year"]), n=one["expected"])
        for _, one in by_year[by_year["received"].eq(0) & by_year["expected"].gt(0)].iterrows()
    ]
    told.append(_silent(silent))
    short = of_unit[of_unit["received"] < of_unit["expected"]]
    short = short.assign(lacking=short["expected"] - short["received"]).sort_values(
        "lacking", ascending=False, kind="stable"
    )
    if len(short):
        each = [
            say("audit_page.short_unit", unit=str(name), n=counted_out(one["received"], one["expected"], cell))
            for name, one in short.head(MOST_NAMED).iterrows()
        ]
        more = len(short) - len(each)
        told.append(
            say("audit_page.short_more", units=listed(each), n=more) if more else say("audit_page.short", units=each)
        )
    return " ".join(told)


def _silent(units_named: list[str]) -> str:
    """Who sent nothing in a year."""
    if not units_named:
        return say("audit_page.nobody_silent")
    more = len(units_named) - MOST_NAMED
    if more > 0:
        return say("audit_page.silent_more", units=", ".join(units_named[:MOST_NAMED]), n=more)
    return say("audit_page.silent", units=units_named)


def flags(material: Material) -> str:
    """Flags seen beside those expected by chance; why there are none to see."""
    if problem := why_not(material):
        cell, torn = smallest_cell(material), material.rows(FUNNEL, "all")["n_events"]
        few = len(torn) and hidden(torn.iloc[0], cell)
        return say("audit_page.too_few_tears", n=cell) if few else say("audit_page.no_flags", why=small(problem))
    seen = int(of_all(material, "flags"))
    by_chance = {
        "expected": decimal(of_all(material, "expected_flags"), 1),
        "any": percent(of_all(material, "any_flag")),
    }
    if not seen:
        return say("audit_page.no_unit_flagged", **by_chance)
    told = say("audit_page.flags", flags=seen, alarms=int(of_all(material, "alarm_flags")), **by_chance)
    found = units(material)
    doubtful = sum(unit.flag() != 0 and not unit.stands for unit in found)
    return " ".join([told, say("audit_page.doubtful", n=doubtful)] if doubtful else [told])


def not_flagged(material: Material) -> str:
    """How many units have the sites by which they could be cleared."""
    found = [unit for unit in units(material) if unit.is_told("clustered")]
    if not found:
        return ""
    needed = [unit.value("needed_sites") for unit in found if not missing(unit.value("needed_sites"))]
    cleared = sum(unit.can_be_cleared for unit in found)
    holes = {"units": n_units(material, len(found))}
    if not needed:
        return say("audit_page.none_ever", **holes)
    holes |= {"least": int(min(needed)), "largest": max(unit.n_sites for unit in found)}
    return say(
        "audit_page.none_cleared" if not cleared else "audit_page.some_cleared",
        **holes,
        **({"n": cleared} if cleared else {}),
    )


def decide(writer: Writer, found: Iterable[Finding]) -> Iterator[Block]:
    """What the committee decides: the policy's first stage for each unit found, and who asks for cases not received."""
    rows = list(dict.fromkeys(finding.decide for finding in found if finding.decide))
    by_year = writer.material.table("audit_received")
    for _, one in by_year[by_year["received"].eq(0) & by_year["expected"].gt(0)].head(2).iterrows():
        unit = named(writer.material, str(one["unit"]))
        what = say("audit_page.ask_for", unit=unit, year=int(one["year"]))
        named_later = say("audit_page.to_be_named")
        rows.append(Decision(what, named_later, named_later, say("audit_page.known_received")))
    if rows:
        cells = ((row.what, row.owner, row.due, row.known) for row in rows)
        yield writer.own_table("decide", say("audit_page.decide"), tuple(map(say, DECISIONS)), cells)

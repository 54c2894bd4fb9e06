"""What each flag meets, in a fixed order: data quality, case mix, chance, and only then a cause."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

import pandas as pd

from liftseries.report.audit.as_filed import moved
from liftseries.report.audit.cycle import reply_to
from liftseries.report.audit.findings import signals_of_all
from liftseries.report.audit.indicators import (
    ALL,
    PERFORATION,
    RECEIVED,
    apart,
    strip,
    strips_of,
    title,
    value_words,
)
from liftseries.report.audit.units import (
    CASE_MIX,
    CLUSTERED,
    CUSUM,
    FUNNEL,
    VIEWS,
    Unit,
    flag_words,
    levels_of,
    named,
    of_all,
    per_100,
    units,
)
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import decimal, missing, p_value, percent
from liftseries.report.kit.sentences import small
from liftseries.report.kit.tables.cells import estimate
from liftseries.report.kit.words import trace
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

IN_REPORT = 3
CORRECTED = {
    "yes": "audit.quality_yes",
    "no": "audit.quality_no",
    "unknown": "audit.quality_unknown_correction",
}
HEADS = ("audit.head_stage", "audit.head_figures", "audit.head_who")


def blocks(writer: Writer) -> Iterable[Block]:
    """The chapter of the report: the first flags."""
    material, found = writer.material, flagged(writer.material)
    if not found:
        yield Paragraph(say("audit.nothing_flagged"))
        return
    yield Paragraph(say("audit.stages"))
    yield from _tables(writer, found[:IN_REPORT])
    if more := len(found) - IN_REPORT:
        yield from [Paragraph(say("audit.more_stages", n=more))] if more > 0 else []
    yield from policy_told(material)


def further(writer: Writer) -> Iterable[Block]:
    """The chapter of the supplement: the flags that the report has no room for."""
    yield from _tables(writer, flagged(writer.material)[IN_REPORT:])


def flagged(material: Material) -> list[Unit]:
    """Units with a flag of the clustered view, or a signal towards higher odds; the surest first."""
    signalled = {subset.partition("=")[2] for subset in _signals(material)["subset"]}
    found = [unit for unit in units(material) if unit.flag() or unit.name in signalled]
    return sorted(found, key=lambda unit: (not unit.stands, -abs(unit.flag()), unit.name))


def _signals(material: Material) -> pd.DataFrame:
    rows = material.quoted(CUSUM)
    return rows[rows["term"].eq("signals") & rows["method"].eq("up") & rows["estimate"].gt(0)]


def _tables(writer: Writer, found: Sequence[Unit]) -> Iterator[Block]:
    material = writer.material
    for unit in found:
        rows = [
            (say(f"audit.stage_{name}"), tell(material, unit), _who(material, say(f"audit.stage_{name}")))
            for name, tell in STAGES
        ]
        caption = say("audit.stages_of", unit=named(material, unit.name), flag=why_flagged(material, unit))
        yield writer.own_table(f"stages_{found.index(unit)}", caption, tuple(map(say, HEADS)), rows)
        yield Paragraph(reply_words(material, unit.name), _keys(material, unit), lead=say("audit.lead_reply"))


def why_flagged(material: Material, unit: Unit) -> str:
    """`alarm, high`, or the case at which the chart signalled."""
    told = [flag_words(unit.flag())] if unit.flag() else []
    charts = _chart(material, unit)
    if charts.get("signals", 0) > 0:
        told.append(say("audit.signal_at", case=int(charts["first_signal"])))
    return "; ".join(told)


def _chart(material: Material, unit: Unit) -> dict[str, float]:
    rows = material.quoted(CUSUM)
    rows = rows[levels_of(rows).eq(unit.name) & rows["method"].eq("up")]
    return dict(zip(rows["term"], rows["estimate"].astype(float), strict=True))


def data_quality(material: Material, unit: Unit) -> str:
    """Unknown tears, cells filled, odd entries, cases received, corrections told of."""
    strips, told = strips_of(material), []
    tears = strip(strips, unit.name, PERFORATION)
    if tears is not None:
        unknown, known = int(tears["unknown"]), int(tears["counted"])
        told.append(say("audit.quality_unknown", n=unknown, sites=unknown + known))
        if unknown:
            told.append(
                say("audit.quality_between", least=unit.n_events, most=unit.n_events + unknown, sites=unknown + known)
            )
    filled, whole = (strip(strips, name, "columns_filled") for name in (unit.name, ALL))
    if value_words(filled):
        told.append(say("audit.quality_filled", own=value_words(filled), all=value_words(whole)))
    told += odd_entries(material, unit)
    received = strip(strips, unit.name, RECEIVED)
    if received is not None and not missing(received["value"]):
        told.append(say("audit.quality_received", share=value_words(received)))
    reply = reply_to(material, unit.name, PERFORATION)
    if reply is not None:
        told.append(say(CORRECTED[str(reply["data_corrected"])]))
    return " ".join([*told, *moved(material, unit)])


def odd_entries(material: Material, unit: Unit) -> list[str]:
    """At how many of its sites something is possible but odd, beside the whole series."""
    counted = material.table("audit_odd_sites")
    own = counted[counted["unit"].astype(str).eq(unit.name)]
    if own.empty:
        return []
    n, sites = int(own["n_odd"].iloc[0]), int(own["n_sites"].iloc[0])
    everyone = {"all": int(counted["n_odd"].sum()), "all_sites": int(counted["n_sites"].sum())}
    return [say("audit.quality_odd", n=n, sites=sites, **everyone)]


def case_mix(material: Material, unit: Unit) -> str:
    """What its cases' risks would be elsewhere, and what is left of the flag."""
    if not unit.is_told(CASE_MIX):
        return say("audit.mix_not_told")
    expected, plain = unit.value("expected", CASE_MIX), unit.value("expected")
    harder = "harder" if expected > 1.05 * plain else "easier" if expected < plain / 1.05 else "alike"
    return say(
        "audit.mix",
        how=say(f"audit.mix_{harder}"),
        expected=per_100(expected),
        all=per_100(plain),
        flag=flag_words(unit.flag(CASE_MIX)),
    )


def chance(material: Material, unit: Unit) -> str:
    """How probable a flag is where nothing is wrong, in this unit and in all."""
    told = []
    if unit.is_told(CLUSTERED):
        told.append(
            say(
                "audit.chance_flag",
                p=p_value(unit.terms[CLUSTERED]["flag"]["p_value"]),
                own=per_100(unit.value("false_flag")),
                seen=int(of_all(material, "flags")),
                expected=decimal(of_all(material, "expected_flags"), 1),
            )
        )
        told.append(say("audit.chance_views", n=sum(unit.flag(view) != 0 for view in VIEWS)))
    chart = _chart(material, unit)
    if chart.get("signals", 0) > 0:
        seen, by_chance, charts = signals_of_all(material.quoted(CUSUM))
        own = percent(chart["achieved_false_alarm"])
        told.append(say("audit.chance_signal", own=own, charts=charts, seen=int(seen), expected=decimal(by_chance, 1)))
    drawn = material.quoted("audit.random_effects")
    drawn = drawn[levels_of(drawn).eq(unit.name)]
    if len(drawn):
        told.append(say("audit.chance_shrunken", rate=estimate(drawn.iloc[0])))
    return " ".join(told)


@lru_cache(maxsize=1)
def _units_apart(material: Material) -> list[tuple[str, frozenset[str]]]:
    """Indicators, as they are written within a sentence, and the units that lie apart in them."""
    strips = strips_of(material)
    return [
        (small(title(strips, term)), frozenset(str(row["unit"]) for row in rows)) for term, rows, _ in apart(strips)
    ]


def cause(material: Material, unit: Unit) -> str:
    """Where to begin: indicators in which it lies apart, cases listed for review."""
    told, names = [], [term for term, names in _units_apart(material) if unit.name in names]
    told.append(say("audit.cause_apart", indicators=names) if names else say("audit.cause_alike"))
    listed_cases = material.table("audit_cases_to_review")
    n = int(listed_cases["unit"].astype(str).eq(unit.name).sum()) if len(listed_cases) else 0
    told.append(say("audit.cause_cases", n=n))
    return " ".join(told)


STAGES = (("quality", data_quality), ("mix", case_mix), ("chance", chance), ("cause", cause))


def _who(material: Material, stage: str) -> str:
    """Who sees to it and in how many working days, where the policy has a stage of that name."""
    for asked in material.asked["audit"]["policy"]["stages"]:
        if str(asked["name"]).lower() == stage.lower():
            return say("audit.who_days", who=asked["who"], days=int(asked["working_days"]))
    return ""


def reply_words(material: Material, name: str) -> str:
    """What the unit replied to its flag, unedited; or that it did not."""
    reply = reply_to(material, name, PERFORATION)
    if reply is None:
        return say("audit.no_reply")
    statement = say("audit.no_statement") if missing(reply["statement"]) else str(reply["statement"]).strip()
    day = say("audit.no_day") if missing(reply["replied_on"]) else str(reply["replied_on"])
    return say("audit.reply", day=day, statement=statement)


def _keys(material: Material, unit: Unit) -> str:
    by = material.asked["audit"]["by"]
    keys = [trace(FUNNEL, f"{by}={unit.name}", "flag", view) for view in VIEWS if unit.is_told(view)]
    if _chart(material, unit):
        keys += [
            trace(CUSUM, f"{by}={unit.name}", term, "up")
            for term in ("signals", "achieved_false_alarm", "first_signal")
        ]
    return "; ".join(keys)


def policy_told(material: Material) -> Iterator[Block]:
    """The policy's stages as the plan has them."""
    asked = material.asked["audit"]["policy"]["stages"]
    each = [
        say(
            "audit.policy_stage",
            n=k,
            name=one["name"],
            who=one["who"],
            days=int(one["working_days"]),
            what=str(one["what"]).strip(),
        )
        for k, one in enumerate(asked, start=1)
    ]
    if each:
        yield Paragraph(" ".join(each), lead=say("audit.lead_policy"))

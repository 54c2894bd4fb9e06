"""What became of earlier actions, what units replied, and what changed: the audit's cycle as its files tell it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pandas as pd

from liftseries.report.audit.indicators import strips_of, title
from liftseries.report.audit.units import hidden, named, per_100, smallest_cell
from liftseries.report.kit.blocks import Block, Listing, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import decimal, listed, missing
from liftseries.report.kit.sentences import small
from liftseries.report.kit.tables.cells import Content, content_of
from liftseries.report.kit.words import Words
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

OPEN, OVERDUE, DROPPED, DONE = "open", "overdue", "dropped", "done"
EVERY_UNIT = "all"
MOST_LINES, MOST_REPLIES = 5, 4  # on the first page
SAME = (0.01, 0.1)  # a smaller change is none: of a share, in mm


def state_of(action: pd.Series, data_until: str) -> str:
    """done, dropped, open or overdue: an open one whose day lay before the closing of the data."""
    status = str(action["status"])
    if status == OPEN and data_until and not missing(action["due"]) and str(action["due"])[:7] <= data_until[:7]:
        return OVERDUE
    return status


def effect_of(material: Material, action: pd.Series, cell: int = 0) -> tuple[str, str]:
    """`better since`, `worse since`, `unchanged since`, and the two values; empty where one of them is not known.

    Where a count of `cell` or fewer stands behind one of them there are no values.
    """
    table = material.table("audit_action_effects")
    rows = table[table["id"].astype(str).eq(str(action["id"]))] if len(table) else table
    if rows.empty or missing(rows.iloc[0]["before"]) or missing(rows.iloc[0]["now"]):
        return "", ""
    row = rows.iloc[0]
    if any(_rests_on_few(row, when, cell) for when in ("before", "now")):
        return say("audit_page.too_few_to_tell"), ""
    before, now, is_mm = float(row["before"]), float(row["now"]), row["counts"] == "measurements"
    better = (now < before) == (row["good"] == "low")
    word = "same" if abs(now - before) < SAME[is_mm] else "better" if better else "worse"
    written = (lambda value: decimal(value, 1)) if is_mm else per_100
    values = {"before": written(before), "now": written(now)}
    return say(f"audit.{word}_since"), say("audit.then_now_mm" if is_mm else "audit.then_now", **values)


def _rests_on_few(row: pd.Series, when: str, cell: int) -> bool:
    """Whether a small count stands behind a value, or could be worked out from it."""
    total, events = row[f"{when}_counted"], row[f"{when}_events"]
    return hidden(total, cell) or (not missing(events) and (hidden(events, cell) or hidden(total - events, cell)))


def actions_told(material: Material) -> tuple[str, tuple[str, ...]] | None:
    """The actions of the latest audit that has any, one a line, for the first page."""
    actions = material.table("actions")
    if actions.empty:
        return None
    year = int(pd.to_numeric(actions["year"]).max())
    latest = actions[pd.to_numeric(actions["year"]).eq(year)]
    lines = [_action_line(material, action) for _, action in latest.iterrows()]
    more = len(lines) - MOST_LINES
    lines = [*lines[:MOST_LINES], say("audit_page.more_actions", n=more)] if more > 0 else lines
    return say("audit_page.actions", year=year, n=len(latest)), tuple(lines)


def _action_line(material: Material, action: pd.Series) -> str:
    state = state_of(action, str(material.plan["study"].get("data_until") or ""))
    effect, values = effect_of(material, action, smallest_cell(material))
    told = ", ".join(filter(None, (say(f"audit.state_{state}"), effect)))
    about = say("audit.about", indicator=_indicator(material, action), unit=unit_named(material, action["unit"]))
    parts = [say("audit_page.action", state=told, about=about, what=_without_stop(action["what"])), values]
    if state == DROPPED and not missing(action["reason"]):
        parts.append(say("audit_page.reason", reason=_without_stop(action["reason"])))
    return "; ".join(filter(None, parts)) + "."


def _without_stop(text) -> str:
    return str(text).strip().rstrip(".")


def _indicator(material: Material, row: pd.Series) -> str:
    if missing(row["indicator"]):
        return say("audit.no_indicator")
    return small(title(strips_of(material), str(row["indicator"])))


def unit_named(material: Material, unit) -> str:
    """`operator op01`; a level of another column by itself; `all` in words."""
    if missing(unit) or str(unit) == EVERY_UNIT:
        return say("audit.every_unit")
    levels = {subset.partition("=")[2] for subset in material.rows("audit.funnel")["subset"]}
    return named(material, str(unit)) if str(unit) in levels else str(unit)


def replies_in_period(material: Material) -> pd.DataFrame:
    """The replies to the audited years, to the latest year that has any where every year is audited."""
    replies = material.table("responses")
    if replies.empty:
        return replies
    years, period = pd.to_numeric(replies["year"]), material.asked["audit"]["period"]
    return replies[years.isin(period)] if period else replies[years.eq(years.max())]


def replies_told(material: Material) -> str:
    """Who replied, for the first page; what they say stands beside the flag."""
    replies = replies_in_period(material)
    if replies.empty:
        return ""
    each = [
        say(
            "audit_page.reply",
            unit=str(row["unit"]),
            indicator=small(title(strips_of(material), str(row["indicator"]))),
            year=int(row["year"]),
            corrected=say(f"audit.corrected_{row['data_corrected']}"),
        )
        for _, row in replies.iterrows()
    ]
    more = len(each) - MOST_REPLIES
    told = say("audit_page.replies_more", replies=", ".join(each[:MOST_REPLIES]), n=more) if more > 0 else listed(each)
    return say("audit_page.replies", replies=told)


def reply_to(material: Material, unit: str, indicator: str) -> pd.Series | None:
    """A unit's latest reply on an indicator in the audited years."""
    replies = replies_in_period(material)
    rows = replies[replies["unit"].astype(str).eq(unit) & replies["indicator"].astype(str).eq(indicator)]
    return rows.sort_values("year").iloc[-1] if len(rows) else None


def actions_table(material: Material, words: Words) -> Content | None:
    """Every action with what became of it."""
    closed = str(material.plan["study"].get("data_until") or "")
    rows = []
    for _, action in material.table("actions").iterrows():
        effect, values = effect_of(material, action)
        day = action["closed_on"] if not missing(action["closed_on"]) else action["due"]
        rows.append(
            (
                str(action["id"]),
                _without_stop(action["what"]),
                say("audit.about", indicator=_indicator(material, action), unit=unit_named(material, action["unit"])),
                str(action["owner"]),
                "" if missing(day) else str(day),
                say(f"audit.state_{state_of(action, closed)}"),
                "; ".join(filter(None, (effect, values))),
                "" if missing(action["measure"]) else _without_stop(action["measure"]),
            )
        )
    heads = ("action", "what", "about", "owner", "day", "state", "effect", "measure")
    return content_of([say(f"audit.head_{name}") for name in heads], rows, say("audit.actions_note"))


def blocks(writer: Writer) -> Iterable[Block]:
    """The chapter: actions with what became of them, replies unedited."""
    yield from writer.table("audit_actions")
    yield from _replies(writer.material)


def _replies(material: Material) -> Iterator[Block]:
    items = tuple(
        say(
            "audit.reply_line",
            unit=unit_named(material, row["unit"]),
            indicator=small(title(strips_of(material), str(row["indicator"]))),
            year=int(row["year"]),
            day=say("audit.no_day") if missing(row["replied_on"]) else str(row["replied_on"]),
            corrected=say(f"audit.corrected_{row['data_corrected']}"),
            statement=say("audit.no_statement") if missing(row["statement"]) else str(row["statement"]).strip(),
        )
        for _, row in replies_in_period(material).iterrows()
    )
    if items:
        yield Listing(say("audit.replies_unedited"), items)


def changes_told(material: Material) -> Iterator[Block]:
    """What the lines on the charts over time stand for."""
    told = [
        say(
            "audit.change",
            year=int(row["year"]),
            unit=unit_named(material, row["unit"]),
            what=_without_stop(row["what"]),
        )
        for _, row in material.table("changes").iterrows()
    ]
    if told:
        yield Paragraph(say("audit.changes", changes="; ".join(told)))

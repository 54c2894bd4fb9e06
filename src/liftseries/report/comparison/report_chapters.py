"""The chapters of the report: who is compared, what differs, the same among cases drilled as planned."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.comparison.answers import MOST_TOLD
from liftseries.report.comparison.compared import AS_DRILLED, MOST_DRAWN, OUTCOMES, Comparison, Outcome, comparison_of
from liftseries.report.kit.blocks import Block, Listing, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, listed
from liftseries.report.kit.words import BANDS
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

MOST_UNLIKE = 6  # named, the farthest apart
UNLIKE = 0.25  # of a standardised difference; common practice, no source


def who(writer: Writer) -> Iterable[Block]:
    """Operators and years, characteristics, overlap and balance."""
    comparison = comparison_of(writer.material)
    if comparison.why_nothing:
        return
    glance, described = writer.table("comparison_glance"), writer.table("comparison_characteristics")
    told = list(_told_apart(comparison)) if glance else []
    if told:
        yield Paragraph(" ".join(told))
    yield from glance
    figure = writer.figure("comparison_alike")
    if figure:
        more = f" {say('comparison.overlap_of_the_first')}" if len(comparison.others) > MOST_DRAWN else ""
        yield Paragraph(say("comparison.overlap_read") + more)
    yield from figure
    unlike = unlike_and_not_adjusted_for(writer.material, comparison) if described else []
    if unlike:
        yield Paragraph(say("comparison.unlike", columns=unlike, size=f"{UNLIKE:g}"))
    yield from described


def unlike_and_not_adjusted_for(material: Material, comparison: Comparison) -> list[str]:
    """Columns beside the terms in which a group lies far from the reference, the farthest first."""
    table = material.table("comparison_characteristics")
    sizes = table.assign(size=table["smd"].astype(float).abs()).groupby("column", sort=False)["size"].max()
    terms = {*comparison.asked["adjust_for"], comparison.asked["groups"], *BANDS}
    far = sizes[sizes.gt(UNLIKE) & ~sizes.index.isin(terms)].sort_values(ascending=False, kind="stable")
    names = map(comparison.words.column, far.index[:MOST_UNLIKE])
    return [name[0].lower() + name[1:] for name in names]


def _told_apart(comparison: Comparison) -> Iterable[str]:
    """Which groups cannot be told apart from operators or years."""
    tied = [level for level in comparison.others if comparison.tied(level)]
    if not tied:
        yield say("comparison.can_be_told_apart")
        return
    groups, reference = [comparison.named(level) for level in tied], comparison.named(comparison.reference)
    yield say("comparison.cannot_be_told_apart", groups=groups, reference=reference)
    why = dict.fromkeys(comparison.why(OUTCOMES["perforation"], level) for level in tied)
    yield say("comparison.because", why="; ".join(why))


def what_differs(writer: Writer) -> Iterable[Block]:
    """All outcomes in one figure, the curves of survival, what cannot be told."""
    material = writer.material
    comparison = comparison_of(material)
    if comparison.why_nothing:
        return
    if comparison.compares:
        yield Paragraph(say("comparison.differs_read"))
    yield from writer.figure("comparison_differences")
    if len(comparison.others) > MOST_TOLD:
        yield from writer.table("comparison_outcomes")
    yield from writer.figure("comparison_survival")
    refused = list(_refused(comparison))
    if refused:
        yield Listing(say("comparison.refused"), tuple(refused))


def _refused(comparison: Comparison) -> Iterable[str]:
    """Groups without a difference to quote, and why; outcomes with the same reason together."""
    outcomes = (comparison.primary, *comparison.secondary)
    for level in comparison.others:
        whys: dict[str, list[str]] = {}
        for outcome in outcomes:
            if comparison.contrast(outcome, level) is None:
                whys.setdefault(comparison.why(outcome, level).rstrip("."), []).append(_short(outcome))
        for why, names in whys.items():
            what = say("comparison.every_outcome") if len(names) == len(outcomes) else listed(names)
            yield say("comparison.refused_item", what=what, group=comparison.named(level), why=why)


def _short(outcome: Outcome) -> str:
    return say(f"comparison.name_{outcome.name}")


def as_drilled(writer: Writer) -> Iterable[Block]:
    """The same among cases drilled as planned, how many fell out, and why that is no fair comparison."""
    material = writer.material
    comparison = comparison_of(material)
    fallen = [] if comparison.why_nothing else writer.table("comparison_fallen_out")
    if not fallen:
        return
    table = material.table("comparison_fallen_out")
    told = [
        say(
            "comparison.fell_out",
            n=count(row["n_fallen_out"]),
            of=row["n_sites"],
            group=comparison.named(str(row["group"])),
        )
        for _, row in table.iterrows()
    ]
    yield Paragraph(say("comparison.as_drilled", told=told))
    yield Paragraph(say("comparison.not_fair"), lead=say("comparison.lead_not_fair"))
    yield from fallen
    differences = writer.table("comparison_as_drilled")
    yield from differences
    if not differences:
        whys = dict.fromkeys(comparison.why(comparison.primary, level, AS_DRILLED) for level in comparison.others)
        yield Paragraph(say("comparison.as_drilled_none", why="; ".join(whys)))

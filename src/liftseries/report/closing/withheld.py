"""What was withheld of a report that leaves the house, and why, in plain words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.declarations import NOT_COARSENED, SINGLE_RECORDS, KeptIn
from liftseries.report.kit.material import Withheld
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say


def what_was_withheld(writer: Writer) -> Iterable[Block]:
    """The chapter."""
    kept = [figure.released for figure in writer.purpose.figures if isinstance(figure.released, KeptIn)]
    single, other = ([figure.called for figure in kept if figure.why == why] for why in (SINGLE_RECORDS, NOT_COARSENED))
    for text in _paragraphs(writer.material.withheld, single, other):
        yield Paragraph(text)
    stay = [purpose for purpose in ("comparison", "audit") if purpose in writer.material.plan.get("purpose", ())]
    if stay:
        yield Paragraph(say("withheld.other_reports", reports=[say(f"withheld.{purpose}") for purpose in stay]))


def _paragraphs(withheld: Withheld, single: Sequence[str], other: Sequence[str]) -> tuple[str, ...]:
    k = withheld.smallest_cell
    mostly = withheld.n_counts_withheld > withheld.n_counts / 2
    records = [say("withheld.records", single=single)] if single else []
    records += [say("withheld.coarse", other=other)] if other else []
    return (
        say("withheld.counts", most=k - 1, cell=k, mostly=say("withheld.mostly") if mostly else ""),
        say("withheld.with_them", most=k - 1, earlier=say("withheld.earlier") if withheld.after_others else ""),
        say("withheld.groups", cell=k, median=withheld.median_needs, quartiles=withheld.quartiles_need),
        say(
            "withheld.numbers",
            numbers=withheld.n_numbers_withheld,
            cell=k,
            median=withheld.median_needs,
            quartiles=withheld.quartiles_need,
        ),
        " ".join(records),
        say("withheld.rows" if withheld.rows_leave else "withheld.no_rows", cell=k),
        say("withheld.missing"),
        say("withheld.no_promise"),
    )

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


def _paragraphs(withheld: Withheld, single: Sequence[str], other: Sequence[str]) -> tuple[str, ...]:
    k = withheld.smallest_cell
    mostly = withheld.n_counts_withheld > withheld.n_counts / 2
    records = [say("closing.withheld_records", single=single)] if single else []
    records += [say("closing.withheld_coarse", other=other)] if other else []
    return (
        say("closing.withheld_counts", most=k - 1, mostly=say("closing.withheld_mostly") if mostly else ""),
        say("closing.withheld_with_them"),
        say(
            "closing.withheld_numbers",
            numbers=withheld.n_numbers_withheld,
            cell=k,
            median=withheld.median_needs,
            quartiles=withheld.quartiles_need,
        ),
        " ".join(records),
        say("closing.withheld_rows" if withheld.rows_leave else "closing.withheld_no_rows", cell=k),
        say("closing.withheld_missing"),
        say("closing.withheld_no_promise"),
    )

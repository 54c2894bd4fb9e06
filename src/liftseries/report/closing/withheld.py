"""What was withheld of a report that leaves the house, and why, in plain words."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.declarations import NOT_COARSENED, SINGLE_RECORDS, KeptIn
from liftseries.report.kit.material import Withheld
from liftseries.report.kit.writer import Writer


def what_was_withheld(writer: Writer) -> Iterable[Block]:
    """The chapter."""
    kept = [figure.released for figure in writer.purpose.figures if isinstance(figure.released, KeptIn)]
    single, other = (
        ", ".join(figure.called for figure in kept if figure.why == why) for why in (SINGLE_RECORDS, NOT_COARSENED)
    )
    for text in _paragraphs(writer.material.withheld, single, other):
        yield Paragraph(text)


def _paragraphs(withheld: Withheld, single: str, other: str) -> tuple[str, ...]:
    k = withheld.smallest_cell
    return (
        f"A count of 1 to {k - 1} patients may let somebody recognise a patient, and with it what else the report says "
        f"of them. Such counts are not shown, whether they count patients or sites. {_most(withheld)}Where "
        f"“withheld” stands, a number is known and is not told.",
        "A small number can often be worked out from others: from a total and the other parts of it, from two totals "
        "that differ by few, from a rate. So some larger counts are withheld with it, as few as would do, and no more "
        "can be said of which of the two a count is.",
        f"Rates, shares, survival and their intervals go where a count goes that they are worked out from "
        f"({withheld.n_numbers_withheld} numbers in all). A mean needs {k} patients behind it, a median "
        f"{withheld.median_needs}, quartiles {withheld.quartiles_need}. A ratio or difference from a "
        f"model needs {k} patients with an event and {k} without, in its level and in the one it is compared with. "
        "What is shown is rounded to three significant digits, so that nothing is read off the far ones.",
        f"Single records are not here at all: tables of sites and passes, rows set aside, the smallest and largest "
        f"values, and these figures: {single}. Left out because they have not been made coarse enough: {other}.",
        _of_rows(withheld),
        "That nobody wrote a thing down says nothing of the patient, so counts of missing values are no secret of "
        "their own; small ones are withheld all the same, for they would give other small counts away.",
        "What this does not promise: somebody who already knows much of the series, its other patients for instance, "
        "may work out more than a reader of this report alone. Sharing it stays a decision of those who answer for "
        "the data.",
    )


def _most(withheld: Withheld) -> str:
    if withheld.n_counts_withheld > withheld.n_counts / 2:
        return "The series is small, so that most counts are withheld; pooled with others it could tell more. "
    return ""


def _of_rows(withheld: Withheld) -> str:
    means = (
        f"k-anonymity counted on patients: at least {withheld.smallest_cell} share each record. It does not promise "
        "that those alike differ in what was found (l-diversity)"
    )
    if withheld.rows_leave:
        return (
            "The folder coarsened holds patients and sites as rows, without outcomes and measurements, coarse enough "
            f"for {means}. Whatever can be counted in them counted as known when it was decided what to withhold here. "
            "Its advice.csv says which columns were made coarser or left out, the most worth while first."
        )
    return (
        f"No rows of patients are here. There can be rows coarse enough for {means}; all that can be counted in them "
        "would be known, so that more would have to be withheld. The file coarsened/advice.csv says which columns such "
        "rows need coarser, the most worth while first."
    )

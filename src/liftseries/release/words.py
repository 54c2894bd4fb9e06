"""What the released report says of what was withheld, in plain words."""

from __future__ import annotations

from collections.abc import Sequence

from liftseries.disclosure.declared import MEDIAN_NEEDS, QUARTILES_NEED
from liftseries.report.kit.figure_files import FIGURES

# Figures of single records: each mark is a site, a measurement or a failure.
SINGLE_RECORDS = ("planned_achieved", "ladder_case", "proportional_hazards")
# Figures whose steps or bars have not been made to rest on enough patients.
NOT_COARSENED = (
    "residual_height",
    "risk_curves",
    "survival_between_visits",
    "competing_risks",
)
NAMES = {
    "planned_achieved": "planned against achieved depth",
    "ladder_case": "the drilling logs of single cases",
    "proportional_hazards": "the residual of each failure",
    "residual_height": "the histogram of residual bone height",
    "risk_curves": "the risk curves with the number of sites below them",
    "survival_between_visits": "survival with failures dated between two visits",
    "competing_risks": "failures with death competing",
}


def figures_left_out() -> list[str]:
    """The figures of the report in the house that a release does not hold, in its order."""
    every = [name for named in FIGURES.values() for name in named]
    return [name for name in every if name in SINGLE_RECORDS or name in NOT_COARSENED]


def what_was_withheld(
    smallest_cell: int, n_cells: int, n_withheld: int, n_numbers: int, rows_leave: bool
) -> Sequence[str]:
    """Paragraphs.

    Parameters
    ----------
    smallest_cell : fewest patients that a printed count may rest on
    n_cells : how many counts the report in the house prints
    n_withheld : how many of them are withheld
    n_numbers : how many other numbers went with them
    rows_leave : whether coarsened rows stand beside the report
    """
    k = smallest_cell
    single = ", ".join(NAMES[name] for name in figures_left_out() if name in SINGLE_RECORDS)
    other = ", ".join(NAMES[name] for name in figures_left_out() if name in NOT_COARSENED)
    return (
        f"A count of 1 to {k - 1} patients may let somebody recognise a patient, and with it what else the report says "
        f"of them. Such counts are not shown, whether they count patients or sites. {_most(n_cells, n_withheld)}Where "
        f"“withheld” stands, a number is known and is not told.",
        "A small number can often be worked out from others: from a total and the other parts of it, from two totals "
        "that differ by few, from a rate. So some larger counts are withheld with it, as few as would do, and no more "
        "can be said of which of the two a count is.",
        f"Rates, shares, survival and their intervals go where a count goes that they are worked out from "
        f"({n_numbers} numbers in all). A mean needs {k} patients behind it, a median {MEDIAN_NEEDS * k}, quartiles "
        f"{QUARTILES_NEED * k}. A "
        f"ratio or difference from a model needs {k} patients with an event and {k} without, in its level and in the "
        "one it is held against. What is shown is rounded to three significant digits, so that nothing is read off "
        "the far ones.",
        f"Single records are not here at all: tables of sites and passes, rows set aside, the smallest and largest "
        f"values, and these figures: {single}. Left out because they have not been made coarse enough: {other}.",
        _of_rows(k, rows_leave),
        "That nobody wrote a thing down says nothing of the patient, so counts of missing values are no secret of "
        "their own; small ones are withheld all the same, for they would give other small counts away.",
        "What this does not promise: somebody who already knows much of the series, its other patients for instance, "
        "may work out more than a reader of this report alone. Sharing it stays a decision of those who answer for "
        "the data.",
    )


def _most(n_cells: int, n_withheld: int) -> str:
    if n_withheld > n_cells / 2:
        return "The series is small, so that most counts are withheld; pooled with others it could tell more. "
    return ""


def _of_rows(k: int, rows_leave: bool) -> str:
    means = (
        f"k-anonymity counted on patients: at least {k} share each record. It does not promise that those alike differ "
        "in what was found (l-diversity)"
    )
    if rows_leave:
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

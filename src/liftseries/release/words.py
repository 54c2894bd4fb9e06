"""Which remarks of results.csv leave: notes and problems are sentences, and tell of patients too."""

from __future__ import annotations

import re

import pandas as pd

from liftseries.base.remarks import Remark, counts_of_cases, joined, remarks_in
from liftseries.report.kit.numbers import WITHHELD

# Remarks that count patients, mostly few, or say that there was one: never told.
NEVER = (
    "failure_after_fallen_out",
    "one_patient_has_the_outcome",
    "bound_of_one_patient",
    "one_patient",
    "one_patient_of_sites",
    "one_patient_at_level",
)
# That none or all of a level, or of those beyond a value, have the outcome tells it of each of them.
NONE_OR_ALL = re.compile(r"(no|all)_\w+_at_(a_)?level|(terms?|predictions)_(separates?|orders?)\w*")
WHOLE_SERIES = re.compile(r"knots|no_(event|failure|perforation|months_lost)\w*|all_(events|failed|perforated)\w*")
KNOTS_NEED = 10  # times the smallest cell: the outer knots have a tenth of the sites beyond them


def told_words(results: pd.DataFrame, smallest_cell: int) -> pd.DataFrame:
    """Notes and problems tell counts, too: a remark leaves where the row shows in its own columns what it counts."""
    counts = results[["n_sites", "n_patients", "n_events"]]
    few = counts["n_patients"].lt(KNOTS_NEED * smallest_cell)
    shown = [set(row) for row in counts.itertuples(index=False)]
    return results.assign(
        **{
            column: [
                _masked_words(*row, column == "problem")
                for row in zip(results[column].astype(str), shown, few, strict=True)
            ]
            for column in ("note", "problem")
        }
    )


def _masked_words(text: str, shown: set[float], few: bool, is_problem: bool) -> str:
    """A cell of remarks as it may leave: what is none of our remarks does not."""
    if text == WITHHELD:
        return text
    left = joined(*(str(one) for one in remarks_in(text) if _may_leave(one, shown, few)))
    return left or (WITHHELD if is_problem and text else "")


def _may_leave(one: Remark, shown: set[float], few: bool) -> bool:
    if one.name in ("", *NEVER) or NONE_OR_ALL.fullmatch(one.name) or (few and WHOLE_SERIES.fullmatch(one.name)):
        return False
    inner = [value for value in one.holes.values() if isinstance(value, Remark)]
    counted = [float(one.holes[hole]) for hole in counts_of_cases(one.name)]
    return set(counted) <= shown and all(_may_leave(value, shown, few) for value in inner)

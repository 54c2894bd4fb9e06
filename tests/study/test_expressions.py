"""Expressions of the schemas over rows, beside what pandas makes of them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from liftseries.study.expressions import null_safe

TABLE = pd.DataFrame(
    {
        "word": pd.Categorical(["yes", "no", None, "yes", "no"]),
        "text": pd.Series(["a", "b", "a", None, ""], dtype=object),
        "number": pd.Series([1.0, 2.5, np.nan, 4.0, -1.0]),
        "whole": pd.Series([1, 2, 3, None, 0], dtype="Int64"),
        "flag": pd.Series([True, False, True, None, False], dtype=object),
    },
    index=[7, 3, 5, 1, 9],
)
EXPRESSIONS = [
    "word == 'yes'",
    "word != 'none of its levels'",
    "word == 'yes' and number > 0 or text == ''",
    "not word == 'yes'",
    "0 < number <= 2.5",
    "number >= whole and number < whole * 2 + 1",
    "flag == True",
    "number < -whole or number == 1",
    "(word == 'yes' or word == 'no') and text != 'b'",
]


@pytest.mark.parametrize("expression", EXPRESSIONS)
@pytest.mark.parametrize("where_unknown", [True, False])
def test_a_row_is_judged_as_pandas_judges_it(expression, where_unknown):
    found = null_safe(expression, where_unknown)(TABLE)
    for index in TABLE.index:
        row = TABLE.loc[[index]].astype({"word": object})
        read = [name for name in TABLE if name in expression]
        known = row[read].notna().all(axis=None)
        assert found[index] == (row.eval(expression)[index] if known else where_unknown), index


def test_of_no_row_nothing_is_said():
    assert null_safe("word == 'yes' and number > 1")(TABLE.head(0)).empty

"""What is withheld changes nothing of what leaves: made anew from tables whose withheld cells hold other values."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from other_values import bytes_of, with_other_undeclared, with_other_values
from release_series import FORTY_WITHOUT_VISITS, HUNDRED_AND_TWENTY, SMALLEST_CELL, made_of

from liftseries.models.questions import tables_that_may_leave
from liftseries.release.coarse import with_coarse
from liftseries.release.masking import mask

KINDS_OF_FILES = {".html", ".csv", ".svg", ".pdf", ".png", ".docx"}


@pytest.mark.parametrize("kind", [FORTY_WITHOUT_VISITS, "sixty"])
def test_withheld_values_change_no_table_that_leaves(kind):
    masked = made_of(kind).masked
    other = with_other_values(masked)
    changed = 0
    for name in (name for name in tables_that_may_leave() if len(masked.whole.table(name))):
        changed += int((~np.equal(*map(_numbers, (masked.whole.table(name), other.whole.table(name))))).sum())
        pd.testing.assert_frame_equal(masked.material.table(name), other.material.table(name))
    assert changed > 100


@pytest.mark.parametrize("kind", ["dozen", HUNDRED_AND_TWENTY])
def test_withheld_values_change_no_byte_of_the_bundle(tmp_path, kind):
    """Of pages, tables, pictures in every form; a made-up series with visits, logs, failures and labels."""
    masked = made_of(kind).masked
    one, other = bytes_of(masked, tmp_path / "one"), bytes_of(with_other_values(masked), tmp_path / "other")
    assert {name[name.rindex(".") :] for name in one} >= KINDS_OF_FILES
    assert [name for name in {*one, *other} if one.get(name) != other.get(name)] == []


def test_what_no_declaration_lets_leave_changes_nothing():
    """Tables, columns of numbers, standard errors, names of files and their hashes."""
    made = made_of(FORTY_WITHOUT_VISITS)
    masked = mask(with_other_undeclared(made.whole), made.population, SMALLEST_CELL)
    other = with_coarse(masked, SMALLEST_CELL).material
    assert other.plan == made.masked.material.plan
    assert other.inputs == made.masked.material.inputs
    for name, table in made.masked.material.tables.items():
        pd.testing.assert_frame_equal(table, other.tables[name], check_dtype=False)


def _numbers(table: pd.DataFrame) -> np.ndarray:
    return np.nan_to_num(table.select_dtypes("number").astype(float).to_numpy(), nan=-9.0)

"""What is withheld changes nothing of what leaves: made anew from tables whose withheld cells hold other values."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from release_series import FORTY_WITHOUT_VISITS, SMALLEST_CELL, made_of

from liftseries.models.questions import tables_that_may_leave
from liftseries.release import bundle
from liftseries.release.masking import Masked, masked_material


def with_other_values(masked: Masked) -> Masked:
    """The same bundle from tables in which each withheld count and number is another one."""
    tables = dict(masked.whole.tables)
    for name, rules in tables_that_may_leave().items():
        table, told = masked.whole.table(name).copy(), masked.material.table(name)
        for column in (column for column in rules.numbers if column in table and column not in rules.labels):
            values = pd.to_numeric(table[column]).astype(float)
            withheld_count = told[column].lt(0) & (column in rules.counts)
            hidden = values.notna() & (told[column].isna() | withheld_count).to_numpy(bool)
            table[column] = values.where(~hidden, values * 3 + 7)
        tables[name] = table
    whole = replace(masked.whole, tables=tables)
    material, withheld = masked_material(whole, masked.behind, masked.ledger, masked.protection, SMALLEST_CELL)
    return replace(masked, material=material, whole=whole, withheld=withheld)


@pytest.mark.parametrize("kind", [FORTY_WITHOUT_VISITS, "sixty"])
def test_withheld_values_change_no_table_that_leaves(kind):
    masked = made_of(kind).masked
    other = with_other_values(masked)
    changed = 0
    for name in (name for name in tables_that_may_leave() if len(masked.whole.table(name))):
        changed += int((~np.equal(*map(_numbers, (masked.whole.table(name), other.whole.table(name))))).sum())
        pd.testing.assert_frame_equal(masked.material.table(name), other.material.table(name))
    assert changed > 100


def test_withheld_values_change_no_byte_of_the_bundle(tmp_path):
    masked, written = made_of("dozen").masked, []
    for room, one in ((tmp_path / "one", masked), (tmp_path / "other", with_other_values(masked))):
        bundle._write(room, one, SMALLEST_CELL, rows_leave=False)
        files = [path for path in sorted(room.rglob("*")) if path.suffix in (".html", ".csv", ".svg")]
        written.append({str(path.relative_to(room)): path.read_bytes() for path in files})
    assert len(written[0]) > 10
    assert written[0] == written[1]


def _numbers(table: pd.DataFrame) -> np.ndarray:
    return np.nan_to_num(table.select_dtypes("number").astype(float).to_numpy(), nan=-9.0)

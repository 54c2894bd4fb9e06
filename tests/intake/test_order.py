"""Order means nothing: rows and columns shuffled, files split and joined, the tables are the same to the byte."""

from __future__ import annotations

import pandas as pd
import pytest
from studies import changed, write_shuffled, write_study

from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("n_files", [1, 2])
def test_tables_are_the_same_however_their_rows_columns_and_files_come(tmp_path, seed, n_files):
    write_shuffled(tmp_path / "shuffled", changed({}), seed, n_files)
    plain, shuffled = (
        read_study(read_plan(study)) for study in (write_study(tmp_path / "plain"), tmp_path / "shuffled")
    )
    for name, table in plain.tables.items():
        pd.testing.assert_frame_equal(shuffled.tables[name], table)
        pd.testing.assert_frame_equal(shuffled.not_applicable[name], plain.not_applicable[name])
        table.to_parquet(tmp_path / "plain.parquet")
        shuffled.tables[name].to_parquet(tmp_path / "shuffled.parquet")
        assert (tmp_path / "plain.parquet").read_bytes() == (tmp_path / "shuffled.parquet").read_bytes()

"""The entry workbook: filled in with LibreOffice it is a study; its formulas judge as `check` does."""

from __future__ import annotations

import pandas as pd
import pytest
from spreadsheet_program import type_in, with_soffice
from studies import tables, write_study

from liftseries.intake.study import check_study
from liftseries.intake.templates import WORKBOOK, new_study
from liftseries.plan import read_plan
from liftseries.schema import read_schema


def many_rows(n_copies: int) -> dict[str, pd.DataFrame]:
    """The made-up study, its patients over and over under pseudonyms with umlauts, leading zeros and hyphens."""
    drawn = tables()
    keys = {"patient_id", "site_id"}
    for name in ("patients", "sites", "steps", "visits"):
        copies = []
        for number in range(n_copies):
            copy = drawn[name].copy()
            for column in keys & set(copy):
                copy[column] = [f"{number:03}-{'Ä' if column == 'site_id' else 'ß'}-{cell}" for cell in copy[column]]
            if "operator_case_no" in copy:
                copy["operator_case_no"] = [str(int(cell) + 4 * number) for cell in copy["operator_case_no"]]
            copies.append(copy)
        drawn[name] = pd.concat(copies, ignore_index=True)
    drawn["patients"]["centre"] = drawn["patients"]["centre"].map({"north": "Köln-Süd", "south": "1-2"})
    return drawn


def typed(drawn: dict[str, pd.DataFrame], mark: str) -> list[tuple[str, int, int, str]]:
    """Every filled cell as it is typed, where the workbook has its column."""
    schema = read_schema()
    return [
        (name, list(schema[name].columns).index(column), row, cell.replace(".", mark) if is_number else cell)
        for name, table in drawn.items()
        for column in table
        for is_number in [schema[name].columns[column].type == "number"]
        for row, cell in enumerate(table[column], start=2)
        if cell
    ]


@with_soffice
@pytest.mark.parametrize(("language", "mark", "n_copies"), [("de-DE", ",", 50), ("en-GB", ".", 2)])
def test_workbook_filled_in_with_libreoffice_is_the_study_of_the_same_csv(language, mark, n_copies, tmp_path):
    drawn = many_rows(n_copies)
    new_study(tmp_path / "typed", workbook=True)
    type_in(tmp_path / "typed" / WORKBOOK, typed(drawn, mark), language)
    by_hand, problems = check_study(read_plan(tmp_path / "typed"))
    assert list(map(str, problems)) == []
    from_csv, problems = check_study(read_plan(write_study(tmp_path / "csv", drawn)))
    assert problems == []
    assert len(by_hand.tables["sites"]) == 4 * n_copies
    for name, table in from_csv.tables.items():
        pd.testing.assert_frame_equal(by_hand.tables[name], table)

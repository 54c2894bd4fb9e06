"""The entry workbook: filled in with LibreOffice it is a study; its formulas judge as `check` does."""

from __future__ import annotations

import itertools
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from openpyxl.formula.translate import Translator
from openpyxl.utils import get_column_letter
from spreadsheet_program import calculated, type_in, with_soffice
from studies import tables, write_plan, write_study

from liftseries.forms.entry_looks import CLOSED, MISSING, WRONG
from liftseries.forms.templates import WORKBOOK, new_study
from liftseries.intake.checks.rows import UNIQUE
from liftseries.intake.corrections.lines import read_corrections
from liftseries.intake.draft.draft import Draft
from liftseries.intake.study import check_study, checked_drafts
from liftseries.study.expressions import names_in
from liftseries.study.plan import read_plan
from liftseries.study.schema import Column, Table, read_schema


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
@pytest.mark.parametrize(("language", "mark", "n_copies"), [("de-DE", ",", 10), ("en-GB", ".", 2)])
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


# ── the formulas of the workbook against `check` ────────────────────────────────────────────────

# What a row shows only beside the rows of its site or of another table: `check` alone tells it.
SEEN_ACROSS_ROWS = {
    "steps_have_no_gap",
    "instrument_fits_the_site",
    "stop_is_shorter_than_the_instrument",
    "no_life_after_death",
    "one_death_a_patient",
    "no_life_after_failure",
}
LACKS = {"value_is_given", "value_is_given_where_needed"}


def probes(table: Table) -> list[dict[str, object]]:
    """Rows of a table, each the example with something changed; the first is the example itself."""
    changes: list[dict[str, object]] = [{}]
    for column in table.columns.values():
        changes += [{column.name: value} for value in [None, *probed_values(table, column)]]
        # Every condition with each way to meet or miss it, its own cells empty among them.
        for condition in filter(None, (column.needed_when, column.applies)):
            read = [table.columns[name] for name in names_in(condition)]
            for stands in itertools.product(*[(*one.levels, None) for one in read], (column.example, None)):
                changes.append(dict(zip([*(one.name for one in read), column.name], stands, strict=True)))
    for rule in table.rules:
        for stands in itertools.product((2, 3, None), repeat=1 + len(rule.reads)):
            changes.append(dict(zip((rule.column, *rule.reads), stands, strict=True)))
    example = {column.name: column.example for column in table.columns.values()}
    rows = [example | unlike(table, number) | change for number, change in enumerate(changes)]
    return [*rows, rows[0]]  # and a key that repeats


def probed_values(table: Table, column: Column) -> list[object]:
    """Values at, within and beyond each limit of the column."""
    if column.levels:
        return [column.levels[-1], "sometimes" if column.type == "category" else 99]
    if column.name in table.references:
        return ["EX-nobody"]
    if column.type == "text":
        return []
    step = 1 if column.type == "integer" else 0.25
    values = ["soon", -3, 2.5] if column.type == "integer" else ["soon", -3]
    for bound in (column.at_least, column.above, column.at_most):
        values += [] if bound is None else [bound - step, bound, bound + step]
    return values


def unlike(table: Table, number: int) -> dict[str, object]:
    """A key that no other row has."""
    last = table.columns[table.key[-1]]
    return {last.name: f"EX-{number:03}" if last.type == "text" else number + 1} if number else {}


def marks_of(sheet, column: str) -> dict[str, str]:
    """Colour of a mark -> its formula, as the sheet holds it for the column's first cell."""
    first = f"{column}2"
    return {
        rule.dxf.fill.bgColor.rgb: rule.formula[0]
        for area in sheet.conditional_formatting
        if str(area.sqref).startswith(f"{first}:")
        for rule in area.rules
    }


def fill_in(sheet, table: Table, rows: list[dict[str, object]]) -> None:
    for number, row in enumerate(rows, start=2):
        for position, column in enumerate(table.columns, start=1):
            sheet.cell(number, position, row[column])


def checked(folder: Path, table: str, schema: dict[str, Table], rows: dict) -> tuple[pd.DataFrame, Draft]:
    """What `check` finds in one table's rows; the others hold the example, or a doubtful key would silence it."""
    book = openpyxl.load_workbook(folder / WORKBOOK)
    for name in schema:
        fill_in(book[name], schema[name], rows[name] if name == table else rows[name][:1])
    book.save(folder / f"{table}.xlsx")
    write_plan(folder, {name: f"{table}.xlsx#{name}" for name in schema})
    plan = read_plan(folder)
    found = check_study(plan)[0].findings
    drafts = checked_drafts(plan, read_corrections(plan))
    return found[(found["table"] == table) & ~found["rule"].isin(SEEN_ACROSS_ROWS)], drafts[table]


def marks_shown(folder: Path, schema: dict[str, Table], rows: dict) -> dict[tuple[str, str], dict[str, set[int]]]:
    """(table, column) -> colour of a mark -> rows that show it, as LibreOffice works out the workbook's formulas."""
    book = openpyxl.load_workbook(folder / WORKBOOK)
    places = {}
    for name, table in schema.items():
        sheet, aside = book[name], len(table.columns) + 5
        fill_in(sheet, table, rows[name])
        for position, column in enumerate(table.columns, start=1):
            letter = get_column_letter(position)
            for colour, formula in marks_of(sheet, letter).items():
                aside += 1
                places[name, column, colour] = aside
                first = Translator(f"={formula}", f"{letter}2")
                for number in range(2, len(rows[name]) + 2):
                    moved = first.translate_formula(f"{letter}{number}")
                    sheet.cell(number, aside, f"=IF({moved[1:]},1,0)")
    path = folder / "marked.xlsx"
    book.save(path)
    calculated(path)
    shown = openpyxl.load_workbook(path, data_only=True)
    marked = {(name, column): {} for name, table in schema.items() for column in table.columns}
    for (name, column, colour), aside in places.items():
        cells = {number: shown[name].cell(number, aside).value for number in range(2, len(rows[name]) + 2)}
        assert set(cells.values()) <= {0, 1}, f"{name}.{column}"  # else an error, which marks nothing
        marked[name, column][colour] = {number for number, value in cells.items() if value}
    return marked


@with_soffice
def test_marks_of_the_workbook_are_the_findings_of_check(tmp_path):
    new_study(tmp_path, workbook=True)
    schema = read_schema()
    rows = {name: probes(table) for name, table in schema.items()}
    marked = marks_shown(tmp_path, schema, rows)
    for name, table in schema.items():
        told, draft = checked(tmp_path, name, schema, rows)
        lacks = told["rule"].isin(LACKS)
        assert lacks.any()
        assert (~lacks).any()
        for column in table.columns:
            marks = marked[name, column]
            missing = told[lacks & (told["column"] == column)]
            assert marks.get(MISSING, set()) == set(missing["row"]), f"{name}.{column}"
            # A rule and a repeated key are told at one of their cells, but mark them all.
            partners = {rule.column for rule in table.rules if column in rule.reads}
            ruled = told["rule"].isin({rule.rule for rule in table.rules}) & told["column"].isin(partners)
            repeats = (told["rule"] == UNIQUE) & (column in table.key)
            faulty = told[~lacks & ((told["column"] == column) | ruled | repeats)]
            assert marks.get(WRONG, set()) == set(faulty["row"]), f"{name}.{column}"
            # Grey where `check` counts an empty cell as not applicable; it does not where other rows cast doubt.
            doubtful = {finding.row for finding in draft.findings if finding.rule in SEEN_ACROSS_ROWS}
            is_empty = draft.not_applicable[column]
            nothing_to_hold = {int(row) for row, empty in zip(draft.rows, is_empty, strict=True) if empty}
            assert marks.get(CLOSED, set()) - doubtful == nothing_to_hold - doubtful, f"{name}.{column}"

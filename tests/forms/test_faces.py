"""One schema, four faces: whatever `check` holds of a column is told by dictionary, entry workbook and Data Package.

The expectation is each column's own entry. Every key of an entry must be looked for below, or be listed with the reason
why a face leaves it out. What the faces *do* with values is held in test_entry_workbook.py (LibreOffice against
`check`) and test_generated.py (an independent reader of the open standard).
"""

from __future__ import annotations

import dataclasses
import json
import re
from html import escape

import docx
import openpyxl
import pytest
from openpyxl.utils import get_column_letter

from liftseries.base.numbers import plain
from liftseries.forms.dictionary import DERIVED_HEADINGS, HEADINGS, dictionary_html, dictionary_markdown
from liftseries.forms.templates import WORKBOOK, new_study
from liftseries.intake.cells.cells import read_cell
from liftseries.intake.checks.rows import row_checks, validators
from liftseries.study.schema import Column, DerivedColumn, Rule, Table, derived_schema, read_schema

OWN = {
    "sites": {
        "flapless": {"type": "category", "levels": ["no", "yes, all"], "description": "Without a flap."},
        "angle_deg": {
            "type": "number", "unit": "deg", "at_least": 0, "at_most": 90, "required": True, "identifies": "quasi",
        },
    }
}  # fmt: skip
SCHEMA = read_schema(OWN)
COLUMNS = [(table, column) for table in SCHEMA.values() for column in table.columns.values()]
FACES = {"dictionary", "workbook", "package"}
# A key that a face does not show, and why.
LEFT_OUT = {
    "own": (FACES, "only tells whose column it is; its entry looks like any other"),
    "optional": (FACES, "shows as needed or not"),
    "needed_when": ({"dictionary"}, "shows in words, as the condition"),
    "allowed_when": ({"dictionary"}, "shows in words, as the condition"),
} | dict.fromkeys(("described", "gaps_shown"), (FACES, "a place in a table of the report; a cell may hold the same"))
# What a column that is worked out has besides; told by the dictionary alone, since nobody enters it.
OF_DERIVED = {"may_be_term", "is_deviation", "judged_from", "cannot_occur", "cuts", "short_title"}
OF_DERIVED_LEFT_OUT = {"short_title": "a name before a band's limits, for the report"}
WORDS = {"text": "text", "integer": "whole number", "number": "number", "category": "one of"}
TYPES = {"text": "string", "category": "string", "integer": "integer", "number": "number"}


def of_each_column(test):
    return pytest.mark.parametrize(
        ("table", "column"), COLUMNS, ids=[f"{table.name}.{column.name}" for table, column in COLUMNS]
    )(test)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("faces") / "mine"
    new_study(made, workbook=True, extra_columns=OWN)
    return made


@pytest.fixture(scope="module")
def book(folder):
    return openpyxl.load_workbook(folder / WORKBOOK)


@pytest.fixture(scope="module")
def document(folder):
    """(table, column) -> the cells of its line in the DOCX."""
    grids = docx.Document(folder / "dictionary.docx").tables
    lines = {}
    for table, grid in zip(SCHEMA.values(), grids, strict=True):
        for row in grid.rows[1:]:
            name, *cells = (cell.text for cell in row.cells)
            lines[table.name, name.split("\n")[0]] = [name.split("\n")[1], *cells]
    return lines


@pytest.fixture(scope="module")
def package(folder):
    """table -> its resource's schema."""
    resources = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))["resources"]
    return {resource["name"]: resource["schema"] for resource in resources}


def bounds_in_words(column: Column) -> list[str]:
    words = [f"above {plain(column.above)}"] if column.above is not None else []
    if column.at_least is not None and column.at_most is not None:
        return [*words, f"{plain(column.at_least)} to {plain(column.at_most)}"]
    words += [f"{plain(column.at_least)} or more"] if column.at_least is not None else []
    return words + ([f"up to {plain(column.at_most)}"] if column.at_most is not None else [])


def told_words(table: Table, column: Column) -> list[str]:
    """All that a face in words must say of a column."""
    words = [column.means, column.measured, str(column.example), column.condition, column.known_from]
    words += ["one of " + ", ".join(map(str, column.levels))] if column.levels else [WORDS[column.type]]
    # `graft != "none"` as `graft is not none`
    words.append(re.sub(r'(==|!=) "(\w+)"', lambda is_: f"is {'not ' * (is_[1] == '!=')}{is_[2]}", column.applies_when))
    words += [column.unit, column.notation.upper(), column.reference, column.when_empty, *bounds_in_words(column)]
    words += [f"a row of {table.references[column.name]}"] if column.name in table.references else []
    words += {"": [], "direct": ["by itself"], "quasi": ["together with other columns"]}[column.identifies]
    return [word for word in words if word]


def test_every_key_of_an_entry_is_looked_for_or_left_out_on_purpose():
    looked_for = {
        "name", "type", "title", "means", "measured", "example", "unit", "levels", "reference", "at_least", "at_most",
        "above", "applies_when", "notation", "needed_when", "allowed_when", "condition", "when_empty",
        "identifies", "known_from",
    }  # fmt: skip
    assert {field.name for field in dataclasses.fields(Column)} == looked_for | set(LEFT_OUT)
    own = {field.name for field in dataclasses.fields(DerivedColumn)} - looked_for - set(LEFT_OUT)
    assert own == OF_DERIVED
    assert set(OF_DERIVED_LEFT_OUT) <= OF_DERIVED
    assert {field.name for field in dataclasses.fields(Rule)} == {"rule", "column", "reads", "holds", "says", "do"}


def test_faces_have_the_same_columns_in_the_same_order(book, document, package):
    markdown = re.findall(r"^\| `(\w+)` \|", dictionary_markdown(SCHEMA), re.MULTILINE)
    page = re.findall(r'<th scope="row"><code>(\w+)</code>', dictionary_html(SCHEMA))
    assert markdown == page == [column for _, column in document] == [column.name for _, column in COLUMNS]
    for name, table in SCHEMA.items():
        assert [cell.value for cell in book[name][1]] == list(table.columns)
        assert [field["name"] for field in package[name]["fields"]] == list(table.columns)


@of_each_column
def test_dictionary_says_all_of_a_column(table, column, document):
    cells = document[table.name, column.name]
    assert len(cells) == len(HEADINGS)
    assert cells[0] == column.title
    for words in told_words(table, column):
        assert any(words in cell for cell in cells[1:]), words
    assert cells[2].startswith("always") == column.required


DERIVED = [column for table in derived_schema().values() for column in table.columns.values()]
OF_A_TABLE = [(table, column) for table in derived_schema().values() for column in table.columns.values()]


@pytest.mark.parametrize(("table", "column"), OF_A_TABLE, ids=[f"{t.name}-{c.name}" for t, c in OF_A_TABLE])
def test_dictionary_says_all_of_a_column_that_is_worked_out(table, column):
    page = dictionary_markdown({}, {table.name: table})
    (line,) = [line for line in page.splitlines() if line.startswith(f"| `{column.name}` |")]
    cells = line.strip("| ").split(" | ")
    assert len(cells) == len(DERIVED_HEADINGS)
    kind = {"text": "text", "category": "text", "integer": "whole number", "number": "number"}
    kind |= {"category": "one of " + ", ".join(column.levels)} if column.levels else {}
    told = [kind.get(column.type, "true or false"), column.unit, column.means, column.measured, column.when_empty]
    told += ["a deviation"] if column.is_deviation else []
    told += [column.judged_from, column.cuts, column.cannot_occur.replace("=", " is ")]
    for words in told:
        assert any(words in cell for cell in cells[1:]), words
    assert cells[-1] == ("may be one" if column.may_be_term else "no")
    html = dictionary_html({}, derived_schema())
    assert f'<code>{column.name}</code> <span class="title">{escape(column.title)}</span>' in html
    assert all(escape(words) in html for words in told)


def test_what_is_worked_out_stands_below_what_is_handed_in_and_in_no_form():
    page = dictionary_markdown(SCHEMA, derived_schema())
    assert page.startswith(dictionary_markdown(SCHEMA))
    names = re.findall(r"^\| `(\w+)` \|", page, re.MULTILINE)
    assert names == [column.name for _, column in COLUMNS] + [column.name for column in DERIVED]
    ids = re.findall(r' id="(\w+)"', dictionary_html(SCHEMA, derived_schema()))
    assert len(ids) == len(set(ids)) == len(SCHEMA) + len(derived_schema())


@of_each_column
def test_note_of_the_header_says_all_of_a_column(table, column, book):
    note = book[table.name].cell(1, list(table.columns).index(column.name) + 1).comment.text
    for words in [column.title, *told_words(table, column)]:
        assert words in note, words
    assert ("Needed: always" in note) == column.required


@of_each_column
def test_cells_of_the_workbook_take_what_the_column_holds(table, column, book):
    sheet, letter = book[table.name], get_column_letter(list(table.columns).index(column.name) + 1)
    style = sheet.column_dimensions[letter]
    assert style.number_format == ("@" if column.type in ("text", "category") else "General")
    assert not style.protection.locked
    assert sheet[f"{letter}1"].protection.locked
    limits = [one for one in sheet.data_validations.dataValidation if f"{letter}2" in one.sqref]
    formulas = [limit.formula1 for limit in limits]
    assert all(limit.error and len(limit.error) <= 255 and len(limit.errorTitle) <= 32 for limit in limits)
    if column.levels:
        where, cells = formulas[0].split("!")
        assert tuple(cell.value for (cell,) in book[where][cells.replace("$", "")]) == column.levels
    elif column.name in table.references:
        assert formulas[0].startswith(f"OFFSET({table.references[column.name]}!$A$2,")
    elif column.type == "text":
        assert len(formulas) == (table.key == (column.name,))
    else:
        asked = set(re.findall(r"\$[A-Z]+2(>=|<=|>)(-?[0-9.]+)", formulas[0]))
        bounds = ((">=", column.at_least), ("<=", column.at_most), (">", column.above))
        assert asked == {(sign, plain(bound)) for sign, bound in bounds if bound is not None}
        assert ("=INT(" in formulas[0]) == (column.type == "integer")
    marks = " ".join(
        rule.formula[0]
        for area in sheet.conditional_formatting
        if str(area.sqref).startswith(f"{letter}2:")
        for rule in area.rules
    )
    assert ("COUNTA(" in marks) == bool(column.required or column.needed_when)
    for condition in (column.needed_when, column.allowed_when, column.applies_when):
        for level in re.findall(r'"(\w+)"', condition):
            assert f'"{level}"' in marks


@of_each_column
def test_package_says_all_of_a_column(table, column, package):
    (field,) = [field for field in package[table.name]["fields"] if field["name"] == column.name]
    constraints = field.get("constraints", {})
    assert field["type"] == TYPES[column.type]
    assert (field["title"], field["description"]) == (column.title, column.means)
    assert bool(constraints.get("required")) == column.required
    assert tuple(constraints.get("enum", ())) == column.levels
    limits = [constraints.get(name) for name in ("minimum", "maximum", "exclusiveMinimum")]
    assert limits == [column.at_least, column.at_most, column.above]
    for name, value in {
        "unit": column.unit,
        "measured": column.measured,
        "example": column.example,
        "neededWhen": column.needed_when,
        "allowedWhen": column.allowed_when,
        "appliesWhen": column.applies_when,
        "notation": column.notation,
        "whenEmpty": column.when_empty,
        "reference": column.reference,
        "identifies": column.identifies,
        "knownFrom": column.known_from,
    }.items():
        assert field.get(name, "") == value, name
    assert column.condition in field.get("condition", "")


@of_each_column
def test_check_holds_the_column_to_its_entry(table, column):
    if column.type != "text":  # a text may hold this
        assert hasattr(read_cell("neither word nor number", column), "rule")
    if not column.when_empty:
        assert hasattr(read_cell(None, column), "rule") == column.required
    ranges = {check.name or str(check.statistics) for check in _checks(table, column)}
    has_bounds = any(bound is not None for bound in (column.above, column.at_least, column.at_most))
    assert bool(ranges) == (has_bounds or (column.type == "integer" and bool(column.levels)))
    rules = [check.rule for check in row_checks(table) if check.column == column.name]
    wanted = [rule.rule for rule in table.rules if rule.column == column.name]
    assert len(rules) == len(wanted) + bool(column.needed_when) + bool(column.allowed_when)


def _checks(table: Table, column: Column) -> list:
    columns = validators(table)
    return columns[column.name].checks if column.name in columns else []


@pytest.mark.parametrize("table", SCHEMA.values(), ids=SCHEMA)
def test_keys_references_and_rules_stand_in_every_face(table, package, book, document, folder):
    schema, page = package[table.name], dictionary_html(SCHEMA)
    assert schema["primaryKey"] == list(table.key)
    foreign = {key["fields"][0]: key["reference"]["resource"] for key in schema.get("foreignKeys", ())}
    assert foreign == dict(table.references)
    assert {rule["name"]: rule["holds"] for rule in schema.get("rules", ())} == {
        rule.rule: rule.holds for rule in table.rules
    }
    said = [paragraph.text for paragraph in docx.Document(folder / "dictionary.docx").paragraphs]
    for words in (f"Key: {' and '.join(table.key)}.", *(f"Checked in every row: {rule.holds}" for rule in table.rules)):
        assert any(words in paragraph for paragraph in said)
    assert f"Key: {' and '.join(table.key)}." in page
    for rule in table.rules:
        letters = [get_column_letter(list(table.columns).index(name) + 1) for name in (rule.column, *rule.reads)]
        for letter in letters:
            marks = [
                one.formula[0]
                for area in book[table.name].conditional_formatting
                if str(area.sqref).startswith(f"{letter}2:")
                for one in area.rules
            ]
            assert any(all(f"${other}2" in mark for other in letters) for mark in marks)


def test_workbook_is_locked_without_a_password_and_hides_nothing(book):
    assert book.security.lockStructure
    assert not book.security.workbookPassword
    for sheet in book:
        assert sheet.sheet_state == "visible"
        assert sheet.protection.sheet
        assert not sheet.protection.password
    assert book.sheetnames == ["read me", *SCHEMA, "example", "lists"]


def test_example_is_on_a_sheet_that_no_plan_names(book, folder):
    assert "EXAMPLE" in book["example"]["A1"].value
    assert "#example" not in (folder / "study.yaml").read_text(encoding="utf-8")
    assert all(sheet.max_row == 1 for sheet in book if sheet.title in SCHEMA)

"""The audit's cycle as files: actions, replies and changes, read for an audit alone and checked like tables."""

from __future__ import annotations

import datetime

import pandas as pd
import pytest
from studies import added, cell, grid, write_study

from liftseries.base.errors import StudyError
from liftseries.intake.study import check_study, read_audit_tables, read_study
from liftseries.study import plan_content
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan
from liftseries.study.schema import AUDIT_TABLES, audit_schema

ACTIONS = grid("""
id | year | indicator   | unit | what            | owner              | due        | measure | status  | closed_on
A1 | 2019 | perforation | o1   | probe each time | head of department | 2020-06    | 9 of 10 | open    |
A2 | 2019 | probed      |      | new log sheets  | data manager       | 2020-03-31 |         | dropped | 2020-02
A3 | 2019 |             | all  | a second reader | Clinical Lead      |            |         | done    | 2020-12-01
""")
RESPONSES = grid("""
year | unit | indicator   | replied_on | data_corrected | statement
2019 | o1   | perforation | 2020-03-14 | yes            | we looked again, and found two entries
2020 | o2   | probed      |            | no             |
""")
CHANGES = grid("""
year | unit | what
2019 | o2   | new stops
2020 |      | a new log sheet
""")
CYCLE = {"actions": ACTIONS, "responses": RESPONSES, "changes": CHANGES}


@pytest.fixture(autouse=True)
def audit_is_there(monkeypatch):
    monkeypatch.setattr(plan_content, "LATER_PURPOSES", ())


def study(folder, changes=None, plan="purpose: [publication, audit]", tables=None, ending="csv"):
    """A study with the cycle's files beside study.yaml, which does not name them."""
    write_study(folder, tables, plan=plan)
    for name, table in CYCLE.items():
        change = (changes or {}).get(name, lambda same: same)
        if change is None:
            continue
        if ending == "csv":
            change(table).to_csv(folder / f"{name}.csv", index=False)
        elif ending == "xlsx":
            change(table).to_excel(folder / f"{name}.xlsx", index=False, sheet_name=name)
        else:
            change(table).to_parquet(folder / f"{name}.parquet", index=False)
    return read_plan(folder)


def told(plan):
    return [str(problem) for problem in check_study(plan)[1]]


def read(plan):
    tables = read_study(plan).tables
    return read_audit_tables(plan, tables["patients"], tables["sites"])


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_the_files_are_found_under_their_plain_names(tmp_path, ending):
    plan = study(tmp_path, ending=ending)
    assert told(plan) == []
    found = read(plan)
    assert list(found) == list(AUDIT_TABLES)
    for name, table in found.items():
        assert list(table) == list(audit_schema()[name].columns)
        assert len(table) == len(CYCLE[name])
    assert found["actions"]["unit"].tolist() == ["o1", "all", "all"]  # an empty cell means every unit
    assert found["actions"]["due"].tolist() == ["2020-06", "2020-03-31", None]
    assert found["responses"]["statement"].tolist() == ["we looked again, and found two entries", None]
    assert found["changes"]["unit"].tolist() == ["o2", "all"]


def test_a_statement_keeps_its_lines_and_marks(tmp_path):
    statement = 'we looked; "two" tears, 3,5 mm\nwere entered twice'
    plan = study(tmp_path, {"responses": cell(2, "statement", statement)})
    assert read(plan)["responses"].at[0, "statement"] == statement


def test_what_study_yaml_names_goes_before_the_plain_name(tmp_path):
    study(tmp_path)
    ACTIONS.head(1).to_csv(tmp_path / "decided.csv", index=False)
    text = (
        (tmp_path / "study.yaml").read_text(encoding="utf-8").replace("tables:\n", "tables:\n  actions: decided.csv\n")
    )
    (tmp_path / "study.yaml").write_text(text, encoding="utf-8")
    plan = read_plan(tmp_path)
    assert [source.label for source in plan.tables["actions"]] == ["decided.csv"]
    assert len(read(plan)["actions"]) == 1
    (tmp_path / "decided.csv").unlink()
    (problem,) = told(read_plan(tmp_path))
    assert problem.startswith("study.yaml, tables, actions: decided.csv: there is no such file")


def test_two_files_of_one_plain_name_are_a_question(tmp_path):
    study(tmp_path)
    CHANGES.to_excel(tmp_path / "changes.xlsx", index=False)
    with pytest.raises(
        StudyError, match=r"tables, changes: changes\.csv and changes\.xlsx lie beside it\. Name the one"
    ):
        read_plan(tmp_path)


def test_without_an_audit_nothing_of_the_cycle_is_read(tmp_path):
    plan = study(tmp_path, {"actions": cell(2, "status", "Jane Miller")}, plan="purpose: publication")
    assert told(plan) == []
    assert set(read(plan)["actions"]) == set(audit_schema()["actions"].columns)
    assert not any(len(table) for table in read(plan).values())
    assert not set(input_hashes(plan)) & {"actions.csv", "responses.csv", "changes.csv"}


def test_an_audit_without_the_files_has_empty_tables(tmp_path):
    plan = study(tmp_path, dict.fromkeys(CYCLE))
    assert told(plan) == []
    for name, table in read(plan).items():
        assert (len(table), list(table)) == (0, list(audit_schema()[name].columns))


def test_the_manifest_hashes_the_files(tmp_path):
    assert {"actions.csv", "responses.csv", "changes.csv"} <= set(input_hashes(study(tmp_path)))


@pytest.mark.parametrize(
    ("table", "column", "value", "message"),
    [
        (
            "actions",
            "unit",
            "o9",
            "unit: is no level of operator, the column that `audit.by` names. Correct it, or clear",
        ),
        ("responses", "unit", "all", "unit: is no level of operator, the column that `audit.by` names. Correct it."),
        ("actions", "indicator", "perforations", "indicator: a text that is none of perforation, membrane_checked"),
        ("actions", "status", "finished", "status: a text that is none of open, done, dropped, overdue"),
        ("actions", "due", "", "due: empty, but needed here (of an action that is not finished)"),
        ("actions", "due", "06/2020", "due: a text where a day or a month is due. Enter it as 2025-06-30 or 2025-06"),
        ("actions", "due", "2020-02-30", "due: no day of the calendar"),
        ("actions", "due", "2020", "due: a number where a day or a month is due"),
        ("actions", "due", "2018-12", "due: 2018-12 lies before 2019, the year audited. Correct one of the two."),
        ("actions", "closed_on", "2020-01", "closed_on: a value where none is allowed (only of an action that is done"),
        ("actions", "year", "19", "year: 19 is below 1970"),
        ("actions", "year", "last", "year: a text where a whole number is due"),
        ("actions", "what", "", "what: empty, but every row needs a value"),
        ("actions", "owner", "Miller, Jane", "owner: looks like a person's name. Enter a role in small letters"),
        ("actions", "owner", "Jane", "owner: looks like a person's name"),
        ("actions", "unit", "Oda Nowak", "unit: looks like a person's name. Replace it by the operator's pseudonym"),
        ("actions", "what", "tell Dr Miller", "what: looks like a person's name"),
        ("responses", "statement", "call (0171) 234 5678", "statement: looks like a telephone number"),
        ("responses", "statement", "seen on 12.03.2019", "statement: looks like a date finer than a year"),
        ("responses", "data_corrected", "maybe", "data_corrected: a text that is none of no, yes, unknown"),
        ("changes", "what", "new nurse anna.b@clinic.example", "what: looks like an e-mail address"),
    ],
)
def test_a_problem_is_told_with_row_and_remedy_and_never_quotes_a_text(tmp_path, table, column, value, message):
    problems = told(study(tmp_path, {table: cell(2, column, value)}))
    assert any(problem.startswith(f"{table}.csv, row 2, {message}") for problem in problems), problems
    if value and not value[0].isdigit() and value != "all":
        assert not any(value in problem for problem in problems)


def test_an_action_and_a_reply_stand_once(tmp_path):
    plan = study(tmp_path, {"actions": added({"id": "A1"}), "responses": added({"statement": "again"})})
    assert [problem.split(";")[0] for problem in told(plan)] == [
        "actions.csv, row 5, id: repeats the key of row 2",
        "responses.csv, row 4, indicator: repeats the key of row 3",
    ]


def test_a_unit_of_which_cases_were_expected_is_one_though_it_sent_none(tmp_path):
    expects = "purpose: audit\nplan: {audit: {expected: {o9: {2019: 4}}}}"
    assert told(study(tmp_path, {"actions": cell(2, "unit", "o9")}, plan=expects)) == []


@pytest.mark.parametrize(
    ("by", "unit", "other"),
    [
        ("centre", "north", "o1"),
        ("surgery_year", "2019", "2011"),
        ("sex", "male", "men"),
        ("rbh_band", "4 to <6", "5"),
        ("lift_band", "3 to <5", "4 to <6"),
    ],
)
def test_units_are_levels_of_any_column_that_an_audit_goes_by(tmp_path, by, unit, other):
    def with_unit(name):
        changes = {"actions": cell(2, "unit", name), "responses": None, "changes": None}
        return study(tmp_path, changes, plan=f"purpose: audit\nplan: {{audit: {{by: {by}}}}}")

    plan = with_unit(unit)
    assert told(plan) == []
    assert read(plan)["actions"].at[0, "unit"] == unit
    plan = with_unit(other)
    (problem,) = told(plan)
    assert f"is no level of {by}" in problem
    with pytest.raises(StudyError, match=f"is no level of {by}"):
        read(plan)


def test_a_centre_is_a_unit_whatever_the_audit_goes_by(tmp_path):
    plan = study(tmp_path, {"actions": cell(2, "unit", "south")}, plan="purpose: audit")
    assert told(plan) == []
    assert read(plan)["actions"].at[0, "unit"] == "south"


def test_a_label_of_a_centre_may_look_like_a_name_where_an_operators_may_not(tmp_path):
    named = cell(2, "centre", "Klinik Nord")
    changes = {"actions": cell(2, "unit", "Klinik Nord"), "responses": None, "changes": None}
    plan = study(tmp_path, changes, plan="purpose: audit\nplan: {audit: {by: centre}}", tables={"patients": named})
    assert told(plan) == []


def test_units_are_not_told_while_the_column_that_holds_them_is_at_fault(tmp_path):
    problems = told(study(tmp_path, {"actions": cell(2, "unit", "o9")}, tables={"sites": cell(2, "operator", "")}))
    assert [problem.partition(":")[0] for problem in problems] == ["sites.csv, row 2, operator"]


def test_no_action_is_set_aside(tmp_path):
    plan = study(tmp_path, {"actions": cell(2, "due", "")}, plan="purpose: audit\ninvalid_rows: set_aside")
    with pytest.raises(StudyError, match=r"actions\.csv, row 2, due: empty, but needed"):
        read(plan)


def test_a_cleared_column_is_not_screened(tmp_path):
    plan = "purpose: audit\nreading: {cleared: {actions: [owner]}}"
    plan = study(tmp_path, {"actions": cell(2, "owner", "Miller, Jane")}, plan=plan)
    assert told(plan) == []


def test_words_for_a_level_are_those_of_the_column_of_that_table(tmp_path):
    """`status` is a column of visits too, with other levels."""
    words = "purpose: audit\nreading: {levels: {status: {offen: open, works: functioning}}}"
    plan = study(
        tmp_path, {"actions": cell(2, "status", "Offen")}, plan=words, tables={"visits": cell(2, "status", "works")}
    )
    assert told(plan) == []
    assert read(plan)["actions"].at[0, "status"] == "open"
    (problem,) = told(study(tmp_path, {"actions": cell(2, "status", "works")}, plan=words))
    assert problem.startswith("actions.csv, row 2, status: a text that is none of open")


def test_days_of_a_workbook_and_days_with_dots_are_taken(tmp_path):
    dotted = study(tmp_path / "dots", {"actions": cell(2, "due", "1.6.2020")})
    intake, problems = check_study(dotted)
    assert problems == []
    assert intake.tables["actions"].at[0, "due"] == "2020-06-01"
    assert intake.decisions["rule"].tolist() == ["day_with_dots_is_day_first"]
    for ending in ("xlsx", "parquet"):
        days = [datetime.date(2020, 6, 1), datetime.date(2020, 3, 31), None]
        plan = study(tmp_path / ending, {"actions": lambda actions: actions.assign(due=days)}, ending=ending)  # noqa: B023
        assert read(plan)["actions"]["due"].tolist() == ["2020-06-01", "2020-03-31", None]


def test_a_correction_of_the_cycle_is_taken_for_an_audit_and_passed_over_without_one(tmp_path):
    from liftseries.intake.books.correction_book import write_correction_book
    from liftseries.intake.corrections.lines import Correction, append_corrections

    plan = study(tmp_path, {"actions": cell(2, "due", "")})
    assert write_correction_book(plan, tmp_path / "book.xlsx").n_rows == 1
    key = ACTIONS["id"][0]
    changed = Correction(1, "actions", key, "due", "text", "0" * 32, "2020-06", "read anew", "dm1", "2025-03-04")
    append_corrections(plan, [changed])
    assert any("corrections.csv, row 2" in problem for problem in told(plan))  # the row is another one by now
    text = (tmp_path / "study.yaml").read_text(encoding="utf-8").replace("[publication, audit]", "publication")
    (tmp_path / "study.yaml").write_text(text, encoding="utf-8")
    assert told(read_plan(tmp_path)) == []


def test_a_policy_names_roles_only(tmp_path):
    stage = "{name: Talk, who: Jane Miller, working_days: 5, what: she is asked}"
    (problem,) = told(study(tmp_path, plan=f"purpose: audit\nplan: {{audit: {{policy: {{stages: [{stage}]}}}}}}"))
    assert problem == (
        "study.yaml, plan, audit, policy, stages, entry 1, who: holds what looks like a person's name. "
        "Enter a role in small letters, such as head of department."
    )


def test_every_table_says_what_its_columns_are():
    for table in audit_schema().values():
        assert table.may_be_missing
        for column in table.columns.values():
            assert all((column.title, column.means, column.measured)), (table.name, column.name)


def test_examples_make_rows_without_a_fault(tmp_path):
    rows = {
        name: pd.DataFrame([{column.name: str(column.example) for column in table.columns.values()}])
        for name, table in audit_schema().items()
    }
    changes = {name: lambda _, name=name: rows[name] for name in rows}
    assert told(study(tmp_path, changes, tables={"sites": cell(2, "operator", "EX-O1")})) == []

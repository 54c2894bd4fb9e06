"""A name typed where it does not belong stands in no message and in nothing that intake leaves."""

from __future__ import annotations

import traceback

import openpyxl
import pytest
from studies import TEXTS, Tables, added, tables, write_plan, write_study

from liftseries.base.errors import StudyError
from liftseries.base.outputs import write_csv
from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan
from liftseries.study.schema import read_schema

CANARY = "Zebedee Quillfeather"
UNSEEN = "by zebedee quillfeather"  # which the screen for identifiers takes for words


def told(study) -> str:
    """All that intake says of a study, and the files that a run writes of it, in small letters."""
    intake, problems = check_study(read_plan(study))
    assert problems
    words = [*map(str, problems)]
    for name, table in (
        ("findings", intake.findings),
        ("set_aside", intake.set_aside),
        ("counts", intake.counts),
    ):
        write_csv(study / f"{name}.csv", table)
        words.append((study / f"{name}.csv").read_text(encoding="utf-8"))
    return "\n".join(words).lower()


def assert_silent(words: str):
    for part in CANARY.lower().split():
        assert part not in words


def with_canaries(canary: str = CANARY) -> tuple[Tables, int]:
    """A row a column, sound but for the canary in that column; and how many of them are faults."""
    changed, faults = tables(), 0
    for name, table in read_schema().items():
        frame = changed[name]
        free = {column.name for column in table.columns.values() if column.type == "text"} - set(table.references)
        for number, column in enumerate(frame.columns):
            # Keys of its own keep the row apart from the others.
            own = {key: f"own-{number}" for key in table.key if key in free}
            frame = added({**own, column: canary})(frame)
            faults += column not in free
        changed[name] = frame
    return changed, faults


@pytest.mark.parametrize(
    ("canary", "rule"), [(CANARY, "text_is_no_identifier"), (UNSEEN, "value_is_")], ids=["seen", "unseen"]
)
@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_no_text_cell_is_quoted(tmp_path, ending, canary, rule):
    changes, faults = with_canaries(canary)
    words = told(write_study(tmp_path, changes, ending=ending))
    assert faults > 45
    assert words.count(rule) > faults
    assert_silent(words)


def test_raised_it_is_not_quoted_either(tmp_path):
    """Not even in the traceback, were it shown."""
    study = write_study(tmp_path, with_canaries()[0])
    with pytest.raises(StudyError) as error:
        read_study(read_plan(study))
    assert_silent("".join(traceback.format_exception(error.value)).lower())


@pytest.mark.parametrize("table", TEXTS)
def test_key_that_is_a_name_is_not_quoted_by_what_depends_on_it(tmp_path, table):
    """Repeated, dangling, and named by rows that go along."""
    key = next(iter(read_schema()[table].columns))
    study = write_study(
        tmp_path,
        {
            name: lambda frame: frame.replace({"p2": CANARY, "s2": CANARY, "wide-13": CANARY, "off-8": CANARY})
            for name in TEXTS
        }
        | {table: lambda frame: added({key: CANARY}, {key: CANARY}, {key: f"{CANARY} jr"})(frame)},
    )
    assert_silent(told(study))


@pytest.mark.parametrize("ending", ["csv", "xlsx", "parquet"])
def test_header_is_not_quoted(tmp_path, ending):
    study = write_study(tmp_path, {"sites": lambda sites: sites.assign(**{CANARY: "1"})}, ending=ending)
    assert_silent(told(study))


def test_names_of_sheets_and_broken_files_are_not_quoted(tmp_path):
    study = write_study(tmp_path)
    book = openpyxl.Workbook()
    book.active.title = CANARY
    book.create_sheet("Other")
    book.save(study / "patients.xlsx")
    (study / "sites.csv").write_text(f'site_id,patient_id\ns1,"{CANARY}\n')
    (study / "stops.csv").write_bytes(f"stop_id,marking_mm\n{CANARY},\xfc".encode("latin-1"))
    (study / "instruments.csv").write_text(f"{CANARY}\n{CANARY},{CANARY}\n")
    write_plan(study, {name: f"{name}.csv" for name in tables()} | {"patients": "patients.xlsx"})
    assert_silent(told(study))

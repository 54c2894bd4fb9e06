"""Rows of a correction workbook handed back: who and why, all or nothing, copies, another study."""

from __future__ import annotations

import openpyxl
import pandas as pd
import pytest
from correction_books import (
    FAULTS,
    applied,
    edited,
    faulty,
    problems,
    righted,
    typed,
    written,
)
from pandas.testing import assert_frame_equal
from studies import cell, cells, write_study

from liftseries.base.errors import UsageError
from liftseries.intake.books.returned_book import apply_book
from liftseries.intake.books.trail import withdraw
from liftseries.intake.books.workbook_cells import FRONT, OUT, PERSON, REASON
from liftseries.intake.corrections.lines import read_corrections
from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import CORRECTIONS_FILE


def open_places(study) -> set[str]:
    return {line.partition(": ")[0] for line in problems(study)}


def assert_equal_tables(tables, expected):
    for name, table in expected.items():
        assert_frame_equal(tables[name], table)


# ── who and why, all or nothing, another study ──────────────────────────────────────────────────


def test_reason_and_person_of_a_row_stand_in_its_lines(study):
    book = edited(
        written(study),
        typed(("sites", 2, "rbh_min_mm", "5,2"), ("sites", 2, REASON, "read anew"), ("sites", 2, PERSON, "n2")),
    )
    assert apply_book(read_plan(study), book).refused == []
    line = read_corrections(read_plan(study)).lines[0]
    assert (line.key, line.reason, line.person, line.stood) == ("s1", "read anew", "n2", "integer")
    assert (line.stood_hash, line.supersedes) != ("", 1)


@pytest.mark.parametrize("missing", [REASON, PERSON])
def test_a_changed_row_without_reason_or_person_is_refused_whole(study, missing):
    filled = [(title, "n2") for title in (REASON, PERSON) if title != missing]
    book = edited(written(study), typed(("sites", 2, "rbh_min_mm", "5,2"), *(("sites", 2, *pair) for pair in filled)))
    result = apply_book(read_plan(study), book)
    assert result.lines == []
    assert ["changed, but" in problem.message for problem in result.refused] == [True]


def test_a_person_who_is_no_pseudonym_is_refused(study):
    book = edited(written(study), typed(("sites", 2, "rbh_min_mm", "5"), ("sites", 2, PERSON, "jo@clinic.example")))
    result = applied(study, book)
    assert result.lines == []
    assert "an e-mail address" in result.refused[0].message


def test_of_a_row_with_one_bad_cell_nothing_is_taken(study):
    places = [("sites", 2, "rbh_min_mm", "=1+4"), ("sites", 2, "tooth", "17"), ("sites", 3, "tooth", "26")]
    result = applied(study, edited(written(study), typed(*places)))
    assert [(line.key, line.column) for line in result.lines] == [("s2", "tooth")]
    assert len(result.refused) == 1


def test_a_workbook_of_another_study_is_refused(study, tmp_path):
    other = write_study(tmp_path / "other" / "study", faulty() | {"stops": cells((2, "marking_mm", "8.0"))})
    book = edited(written(other), righted(FAULTS[:3]))
    with pytest.raises(UsageError, match="of another study"):
        applied(study, book)
    assert not (study / CORRECTIONS_FILE).exists()


def test_a_workbook_handed_back_after_its_line_was_withdrawn_does_not_bring_it_back(study):
    book = edited(written(study), righted(FAULTS[:1]))
    applied(study, book)
    withdraw(read_plan(study), [1], "dm1", "was right")
    assert applied(study, book).lines == []
    assert FAULTS[0].place in open_places(study)


def test_the_same_number_written_otherwise_is_no_change(study):
    places = [("sites", 2, "rbh_max_mm", "6,10"), ("sites", 2, "implant_length_mm", "9.0")]
    assert applied(study, edited(written(study), typed(*places))).lines == []


def test_exact_copies_stand_once_and_all_but_one_may_go(tmp_path, sound_tables):
    study = write_study(tmp_path / "study", {"sites": lambda sites: pd.concat([sites, sites[:1]])})
    book = openpyxl.load_workbook(written(study))
    assert book["sites"].max_row == 2
    assert "stands 2 times" in book["sites"].cell(2, FRONT.index("what is wrong") + 1).value
    applied(study, edited(tmp_path / "corrections.xlsx", typed(("sites", 2, OUT, "leave out copies"))))
    assert problems(study) == []
    assert_equal_tables(read_study(read_plan(study)).tables, sound_tables)


def test_of_two_rows_with_one_key_that_are_no_copies_each_can_be_corrected(tmp_path):
    study = write_study(tmp_path / "study", {"sites": cell(3, "site_id", "s1")})
    applied(study, edited(written(study), typed(("sites", 3, "site_id", "s2"))))
    assert problems(study) == []
    assert read_study(read_plan(study)).tables["sites"]["site_id"].tolist() == ["s1", "s2", "s3", "s4"]

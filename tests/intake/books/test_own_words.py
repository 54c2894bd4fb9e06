"""Cells of a returned workbook in the centre's own words: understood as in its file, or refused where they are not."""

from __future__ import annotations

import pytest
from correction_books import applied, edited, problems, typed, written
from studies import cells, write_study

from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan

WORDS = "columns: {patients: {smoking: {from: smoking, words: {nie: never, Kippe: current}}}}"
CODES = "columns: {patients: {periodontitis: {from: periodontitis, words: {j: yes, n: no}, missing: [k.A.]}}}"


def study_of(tmp_path, forms: str, *faults):
    return write_study(tmp_path / "study", {"patients": cells(*faults)}, plan=f"files: {{patients.csv: {{{forms}}}}}")


def handed_back(study, *values):
    return applied(study, edited(written(study), typed(*values)))


def table_of(study, table: str = "patients"):
    return read_study(read_plan(study)).tables[table]


@pytest.mark.parametrize("text", ["nie", "NIE", " nie ", "never"])
def test_a_word_of_the_file_means_what_it_means_there(tmp_path, text):
    study = study_of(tmp_path, WORDS, (2, "smoking", "selten"))
    result = handed_back(study, ("patients", 2, "smoking", text))
    assert [line.value for line in result.lines] == ["never"] if text != "never" else ["never"]
    assert problems(study) == []
    assert table_of(study)["smoking"][0] == "never"


def test_a_word_that_the_file_does_not_name_is_told_by_the_next_check(tmp_path):
    study = study_of(tmp_path, WORDS, (2, "smoking", "selten"))
    handed_back(study, ("patients", 2, "smoking", "kaum"))
    assert len(problems(study)) == 1


def test_words_of_another_file_are_not_taken(tmp_path):
    """Rows of sites.csv: the words are those of patients.csv."""
    study = write_study(
        tmp_path / "study",
        {"sites": cells((2, "septum", "vielleicht"))},
        plan=f"files: {{patients.csv: {{{WORDS}}}}}",
    )
    handed_back(study, ("sites", 2, "septum", "nie"))
    assert len(problems(study)) == 1


def test_a_word_called_missing_is_missing(tmp_path):
    study = study_of(tmp_path, CODES, (2, "periodontitis", "x?"))
    handed_back(study, ("patients", 2, "periodontitis", "k.A."))
    assert problems(study) == []
    assert table_of(study)["periodontitis"][0] == "unknown"


def test_the_word_of_what_stands_there_is_no_change(tmp_path):
    study = study_of(tmp_path, WORDS, (2, "age_years", "fifty"), (2, "smoking", "nie"))
    result = handed_back(study, ("patients", 2, "age_years", "54"), ("patients", 2, "smoking", "nie"))
    assert [line.column for line in result.lines] == ["age_years"]


TURNED = 'columns: {sites: {bone_quality: {from: Q, words: {"1": 2, "2": 1, D4: 4}}}}'


@pytest.mark.parametrize(("text", "n_refused"), [("1", 1), ("D4", 0), ("3", 0)])
def test_a_word_that_the_dictionary_takes_for_another_value_is_refused(tmp_path, text, n_refused):
    def with_quality(sites):
        return sites.assign(Q=["7", "3", "3", "3"])

    plan = f"files: {{sites.csv: {{{TURNED}}}}}"
    study = write_study(tmp_path / "study", {"sites": with_quality}, plan=plan)
    result = handed_back(study, ("sites", 2, "bone_quality", text))
    assert len(result.refused) == n_refused
    assert all("another value than in the dictionary" in str(problem) for problem in result.refused)
    if not n_refused:
        assert table_of(study, "sites")["bone_quality"][0] == int(text.removeprefix("D"))


NO_MORE = "not_collected: {visits: [complication]}"


def test_words_of_a_group_of_columns_hold_for_its_visits_alone(tmp_path):
    each = (
        "[{months: 6, status: {from: s6, words: {ok: functioning}}},"
        " {months: 12, status: {from: s12, words: {ok: not_examined}}}]"
    )
    plan = f"files: {{visits.csv: {{columns: {{visits: {{each: {each}}}}}, {NO_MORE}}}}}"
    visits = {"visits": lambda table: table[["site_id"]][:1].assign(s6=["gut"], s12=["weg"])}
    study = write_study(tmp_path / "study", visits, plan=plan)
    book = written(study)

    def both_ok(opened):
        sheet = opened["visits"]
        at = next(cell.column for cell in sheet[1] if cell.value == "status")
        for row in range(2, sheet.max_row + 1):
            sheet.cell(row, at).value = "ok"

    applied(study, edited(book, both_ok))
    assert table_of(study, "visits")["status"].astype(str).tolist() == ["functioning", "not_examined"]


def test_a_word_of_a_text_column_is_confirmed_as_in_its_file(tmp_path):
    plan = "files: {patients.csv: {levels: {centre: {N.: north, S.: south}}}}"
    study = write_study(tmp_path / "study", {"patients": cells((2, "age_years", "fifty"))}, plan=plan)
    handed_back(study, ("patients", 2, "age_years", "54"), ("patients", 2, "centre", "s."))
    assert table_of(study)["centre"][0] == "south"

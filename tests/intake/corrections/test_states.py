"""corrections.csv: the states of its lines, the key of its hashes, what is told and counted."""

from __future__ import annotations

import stat

import pytest
from corrected_studies import (
    SECRET,
    assert_same,
    corrected_study,
    drafts_of,
    line,
    row_of,
    states,
    tables_of,
    withdrawing,
)
from correction_books import problems
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from studies import cell, write_study

from liftseries.cli import main
from liftseries.intake.corrections.secret import key_of, read_key
from liftseries.intake.draft.corrected_cells import counts_of_corrected, n_corrected
from liftseries.intake.study import check_study, read_study
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import CORRECTIONS_FILE, KEY_FILE, TRUST

# ── states ──────────────────────────────────────────────────────────────────────────────────────


def test_every_state_is_counted(tmp_path, capsys):
    lines = [
        line(value="east"),
        line(value="west", number=2, supersedes="1"),
        line("patients", "p2", "sex", "female", 3),
        withdrawing(4, 3, key="p2"),
        line("patients", "p3", "smoking", "former", 5),
        line("patients", "p8", "smoking", "former", 6, stood="never"),
        line("stops", "off-7", "marking_mm", "7", 7, stood="8"),
    ]
    study = corrected_study(tmp_path, *lines)
    assert states(study) == {
        1: "superseded", 2: "applied", 3: "withdrawn", 5: "already so", 6: "not there", 7: "not there",
    }  # fmt: skip
    assert main(["corrections", str(study)]) == 1
    said = capsys.readouterr()
    assert "6 lines of corrections.csv: 1 superseded, 1 applied, 1 withdrawn, 1 already so, 2 not there." in said.out
    assert said.out.count("no row of patients has the key that it names") == 1


def test_a_later_line_of_a_cell_holds_also_where_it_does_not_say_so(tmp_path):
    study = corrected_study(tmp_path, line(value="a"), line(value="b", number=2))
    assert states(study) == {1: "superseded", 2: "applied"}


def test_a_row_left_out_that_the_centre_took_out_itself_is_already_so(tmp_path):
    study = corrected_study(
        tmp_path, line("visits", "s3 | 10", "", "leave out", stood=""), changes={"visits": lambda table: table[:-1]}
    )
    assert states(study) == {1: "already so"}
    assert problems(study) == []


def test_withdraw_on_the_command_line_adds_a_line_and_deletes_none(tmp_path, capsys):
    study = corrected_study(tmp_path, line())
    before = (study / CORRECTIONS_FILE).read_bytes()
    assert main(["corrections", str(study), "--withdraw", "1"]) == 2
    assert main(["corrections", str(study), "--withdraw", "2", "--person", "dm1", "--reason", "wrong row"]) == 2
    assert (study / CORRECTIONS_FILE).read_bytes() == before
    assert main(["corrections", str(study), "--withdraw", "1", "--person", "dm1", "--reason", "wrong row"]) == 0
    assert (study / CORRECTIONS_FILE).read_bytes().startswith(before)
    assert states(study) == {1: "withdrawn"}
    assert "1 withdrawn" in capsys.readouterr().out


# ── the key of the hashes ───────────────────────────────────────────────────────────────────────


def test_the_key_is_its_owners_alone_and_in_no_hash_of_a_run(tmp_path):
    study = write_study(tmp_path / "study")
    key = key_of(study)
    assert stat.S_IMODE((study / KEY_FILE).stat().st_mode) == 0o600
    assert (len(key), read_key(study)) == (32, key)
    hashes = input_hashes(read_plan(study))
    assert KEY_FILE not in hashes
    (study / KEY_FILE).write_text("00" * 32, encoding="ascii")
    assert input_hashes(read_plan(study)) == hashes


def test_without_the_key_nothing_applies_but_on_trust(tmp_path, monkeypatch):
    study = corrected_study(tmp_path, line(), line("patients", "p2", "age_years", "62", 2), secret=None)
    assert states(study) == {1: "not verified", 2: "not verified"}
    assert problems(study) == [
        f"{CORRECTIONS_FILE}: 2 lines cannot be checked, for {KEY_FILE} is not beside it or is no key. Put it back, or "
        "say --trust to apply them."
    ]
    assert check_study(read_plan(study))[0].tables["patients"]["centre"][0] == "north"
    monkeypatch.setenv(TRUST, "yes")
    assert problems(study) == []
    assert tables_of(study)["patients"]["centre"][0] == "south"
    assert tables_of(study)["patients"]["age_years"].tolist() == [54, 62, 47]


def test_trust_on_the_command_line(tmp_path):
    study = corrected_study(tmp_path, line(), secret=None)
    assert main(["check", str(study)]) == 1
    assert main(["check", str(study), "--trust"]) == 0
    assert main(["check", str(study)]) == 1


def test_trust_does_not_put_a_line_over_a_cell_that_is_known_to_have_changed(tmp_path, monkeypatch):
    monkeypatch.setenv(TRUST, "yes")
    study = corrected_study(tmp_path, line(stood="elsewhere"))
    assert states(study) == {1: "not there"}


def test_a_line_written_by_hand_needs_trust(tmp_path, monkeypatch):
    study = corrected_study(tmp_path, line(stood_hash=""))
    assert states(study) == {1: "not verified"}
    assert "a line written by hand" in problems(study)[0]
    monkeypatch.setenv(TRUST, "yes")
    assert problems(study) == []


def test_lines_taken_on_trust_are_hashed_anew_when_a_line_is_added(tmp_path, monkeypatch):
    study = corrected_study(tmp_path, line(), line("patients", "p2", "age_years", "62", 2), secret=None)
    command = ["corrections", str(study), "--withdraw", "4", "--person", "dm1", "--reason", "was right"]
    assert main(command) == 1
    assert not (study / KEY_FILE).exists()
    assert main([*command, "--trust"]) == 0
    monkeypatch.setenv(TRUST, "")
    assert states(study) == {1: "superseded", 2: "superseded", 3: "applied", 4: "withdrawn"}
    assert problems(study) == []


# ── what is told of it ──────────────────────────────────────────────────────────────────────────


def test_each_corrected_cell_is_a_decision_without_its_value(tmp_path):
    lines = [line(value="quorvexil"), line("sites", "s2", "tooth", "27", 2), line("stops", "off-8", "", "leave out", 3)]
    told = [
        one for draft in drafts_of(corrected_study(tmp_path, *lines)).values() for one in draft.decisions
        if one.rule in ("corrected", "left_out")
    ]  # fmt: skip
    assert [(one.table, one.row, one.column, one.stood, one.taken_for) for one in told] == [
        ("patients", 2, "centre", "a text", f"the value in {CORRECTIONS_FILE}, row 2"),
        ("sites", 3, "tooth", "a whole number", f"the value in {CORRECTIONS_FILE}, row 3"),
        ("stops", 2, "", "a row", "nothing: the row is left out"),
    ]
    assert "quorvexil" not in str(told)


def test_corrected_cells_are_counted_by_row_column_and_person(tmp_path):
    lines = [
        line(),
        line(column="age_years", value="55", number=2, person="dm2"),
        line("patients", "p3", "age_years", "46", 3),
        line("visits", "s3 | 6", "", "leave out", 4),
        line("patients", "p2", "sex", "male", 5, person="dm3"),
    ]
    found = read_study(read_plan(corrected_study(tmp_path, *lines))).corrected
    assert n_corrected(found).to_numpy().tolist() == [["patients", "p1", 2], ["patients", "p3", 1]]
    assert counts_of_corrected(found).to_numpy().tolist() == [
        ["patients", "centre", 1, 1, 1],
        ["patients", "age_years", 2, 2, 2],
        ["visits", "", 0, 1, 1],
        ["", "", 3, 3, 2],
    ]


WRONG = [
    (line("steps", "s1 | 1", "speed_rpm", "1") | {"table": "quorvexil"}, "names a table that study.yaml does not"),
    (line(number="two"), "its number is no whole number above 0"),
    (line(number="0"), "its number is no whole number above 0"),
    (line(number="1e999"), "its number is no whole number above 0"),
    (line(supersedes="quorvexil"), "supersedes no whole number"),
    (line(supersedes="7"), "supersedes a line that is not there"),
    (line(supersedes="1"), "supersedes a line that is not there"),
    (line() | {"key": ""}, "names no row"),
    (line() | {"column": "quorvexil"}, "names a column that the table does not have"),
    (line() | {"column": "", "value": "quorvexil"}, "names no column, but its value is none of leave out"),
    (line() | {"column": "", "value": "withdraw"}, "does not say under `supersedes` which line"),
    (line(person=""), "has no person or no reason"),
    (line(reason=""), "has no person or no reason"),
    (line(date="03/04/25"), "its date is no day"),
    (line(stood="quorvexil"), "centre of the row has changed since it was corrected"),
    (line("patients", "p1", "", "leave out") | {"stood_hash": "0" * 32}, "the row has changed since"),
    (line("sites", "s1", "isq", "60", stood=""), "sites.csv has no column isq that can be read"),
    (line(value="jo.quorvexil@clinic.example"), "an e-mail address"),
    (line(person="jo.quorvexil@clinic.example"), "an e-mail address"),
    (line(reason="asked jo.quorvexil@clinic.example"), "an e-mail address"),
    ([*line().values(), "quorvexil"], "more or fewer cells than columns"),
]


@pytest.mark.parametrize(("wrong", "told"), WRONG)
def test_a_line_that_does_not_fit_is_told_at_its_place_and_changes_nothing(tmp_path, wrong, told):
    expected = tables_of(write_study(tmp_path / "sound"))
    study = corrected_study(tmp_path, wrong)
    intake, found = check_study(read_plan(study))
    assert [problem.place for problem in found] == [f"{CORRECTIONS_FILE}, row 2"]
    assert told in found[0].message
    assert "quorvexil" not in str(found[0])
    assert_same(intake.tables, expected)


def test_one_bad_line_does_not_take_the_others_along(tmp_path):
    study = corrected_study(tmp_path, line(number=9) | {"column": "colour"}, line(value="west"))
    intake, found = check_study(read_plan(study))
    assert len(found) == 1
    assert intake.tables["patients"]["centre"][0] == "west"


def test_a_number_that_stands_twice_is_told(tmp_path):
    study = corrected_study(tmp_path, line(value="west"), line("patients", "p2", "sex", "other"))
    assert ["its number stands in row 2 too" in told for told in problems(study)] == [True]


def test_a_cleared_column_may_hold_what_looks_like_an_identifier(tmp_path):
    study = corrected_study(tmp_path, line(value="jo@clinic.example"))
    with (study / "study.yaml").open("a", encoding="utf-8") as plan:
        plan.write("reading:\n  cleared: {patients: [centre]}\n")
    assert problems(study) == []


def test_an_identifier_in_a_file_is_told_though_a_correction_covers_it(tmp_path):
    changes = {"patients": cell(2, "centre", "jo@clinic.example")}
    study = corrected_study(tmp_path, line(stood="jo@clinic.example"), changes=changes)
    assert any(problem.startswith("patients.csv, row 2, centre: looks like an e-mail") for problem in problems(study))


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"a\0b", b'"', b"table;file\n", b"\n\n", b"x" * 1000])
def test_an_unreadable_file_is_told_without_a_traceback(tmp_path, content):
    study = write_study(tmp_path / "study")
    (study / CORRECTIONS_FILE).write_bytes(content)
    told = problems(study)
    assert len(told) == 1
    assert told[0].startswith(CORRECTIONS_FILE)


def test_a_table_without_rows_has_none_to_correct(tmp_path):
    study = corrected_study(tmp_path, line("visits", "s1 | 0", "status", "failed"), changes={"visits": lambda t: t[:0]})
    assert states(study) == {1: "not there"}


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    lines=st.lists(
        st.tuples(
            st.sampled_from([("patients", "p1"), ("sites", "s1"), ("steps", "s1 | 1"), ("visits", "s3 | 6")]),
            st.sampled_from(["", "centre", "tooth", "site_id", "months", "patient_id"]),
            st.sampled_from(["leave out", "withdraw", "", "16", "s2", "p2", "-3", "=1", "\u2028", "a\nb"]),
            st.booleans(),
            st.integers(0, 9),
        ),
        max_size=8,
    )
)
def test_whatever_is_corrected_no_row_is_lost(tmp_path_factory, lines):
    """Read = kept + set aside, which intake proves at every reading, with the rows left out among those set aside."""
    written = []
    for number, ((table, key), column, value, fits, supersedes) in enumerate(lines, start=1):
        one = line(table, key, column, value, number, supersedes=str(supersedes or ""))
        written.append(one if fits else one | {"stood_hash": "0" * 32})
    study = corrected_study(tmp_path_factory.mktemp("any"), *written)
    counts = check_study(read_plan(study))[0].counts.set_index("table")
    assert (counts["read"] == counts["kept"] + counts["set_aside"]).all()
    assert counts.loc[["patients", "sites", "steps", "visits"], "read"].tolist() == [3, 4, 7, 7]


def test_the_hash_of_a_cell_is_keyed_and_differs_from_row_to_row():
    """So neither initials nor a rare level are guessed from it."""
    assert row_of("patients", "p1")["diabetes"] == row_of("patients", "p2")["diabetes"]
    first, second = line("patients", "p1", "diabetes", "yes"), line("patients", "p2", "diabetes", "yes")
    assert first["stood_hash"] != second["stood_hash"]
    assert SECRET.hex() not in str(first)

"""corrections.csv over the raw cells: what it changes, its lines' states, what is told of it."""

from __future__ import annotations

import stat

import numpy as np
import pandas as pd
import pytest
from corrected_studies import SECRET, by_hand, corrected_study, line, row_of, withdrawing, write_lines
from correction_books import problems
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal
from studies import added, cell, tables, write_study

from liftseries.cli import main
from liftseries.intake.corrections.lines import Correction, append_corrections, read_corrections
from liftseries.intake.corrections.secret import key_of, read_key
from liftseries.intake.draft.corrected_cells import counts_of_corrected, n_corrected
from liftseries.intake.study import check_study, checked_drafts, read_study
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import CORRECTIONS_FILE, KEY_FILE, TRUST


def tables_of(study, **more):
    return read_study(read_plan(study), **more).tables


def states(study) -> dict[int, str]:
    lines = check_study(read_plan(study))[0].corrections
    return {number: state for number, state in zip(lines["line"], lines["state"], strict=True) if state}


def assert_same(tables, expected):
    for name, table in expected.items():
        assert_frame_equal(tables[name], table)


# ── what it changes ─────────────────────────────────────────────────────────────────────────────


def test_a_line_stands_over_its_cell_and_nothing_else(tmp_path):
    expected = tables_of(write_study(tmp_path / "sound", {"patients": cell(2, "centre", "south")}))
    study = corrected_study(tmp_path, line())
    assert problems(study) == []
    assert_same(tables_of(study), expected)


def test_a_study_can_be_read_without_its_corrections(tmp_path):
    study = corrected_study(tmp_path, line(), line("stops", "off-8", "", "leave out", 2, stood=""))
    assert_same(tables_of(study, corrections=False), tables_of(write_study(tmp_path / "sound")))


@pytest.mark.parametrize("saved", [{"separator": ";"}, {"ends": "\r\n"}, {"encoding": "utf-8-sig"}])
def test_the_file_may_have_been_saved_by_a_spreadsheet_program(tmp_path, saved):
    study = corrected_study(tmp_path, line(), **saved)
    new = line(value="a, b; c", number=2)
    append_corrections(read_plan(study), [Correction(**new | {"line": 2, "supersedes": 1})])
    assert problems(study) == []
    assert tables_of(study)["patients"]["centre"][0] == "a, b; c"
    assert states(study) == {1: "superseded", 2: "applied"}


def test_what_stood_in_the_file_stays_byte_for_byte(tmp_path):
    study = corrected_study(tmp_path, line(), ends="\r\n")
    before = (study / CORRECTIONS_FILE).read_bytes().rstrip()
    (study / CORRECTIONS_FILE).write_bytes(before)
    append_corrections(read_plan(study), [Correction(**line(value="west") | {"line": 2, "supersedes": 1})])
    assert (study / CORRECTIONS_FILE).read_bytes().startswith(before)
    assert len(read_corrections(read_plan(study)).lines) == 2


@pytest.mark.parametrize(("sites", "steps"), [("5,2", "1"), ("5.20", "1.0"), ("5.2", " 1 ")])
def test_numbers_compare_as_numbers_in_cells_and_keys(tmp_path, sites, steps):
    lines = [line("sites", "s1", "rbh_min_mm", "5.4"), line("steps", "s1 | 1", "speed_rpm", "650", 2)]
    changes = {"sites": cell(2, "rbh_min_mm", sites), "steps": cell(2, "step_no", steps)}
    study = corrected_study(tmp_path, *lines, changes=changes)
    found = tables_of(study)
    assert (found["sites"]["rbh_min_mm"][0], found["steps"]["speed_rpm"][0]) == (5.4, 650)


def test_a_text_that_looks_like_a_number_compares_as_it_stands(tmp_path):
    study = corrected_study(tmp_path, line(stood="01", value="south"), changes={"patients": cell(2, "centre", "1")})
    assert states(study) == {1: "not there"}


# ── files that change ───────────────────────────────────────────────────────────────────────────

LINES = [
    line("patients", "p2", "age_years", "62", 1),
    line("sites", "s3", "tooth", "16", 2),
    line("steps", "s1 | 3", "speed_rpm", "650", 3),
    line("visits", "s2 | 0.5", "bone_height_mm", "9,3", 4),
    line("patients", "p3", "patient_id", "p7", 5),
    line("visits", "s3 | 6", "", "leave out", 6, stood=""),
]


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32 - 1), order=st.permutations(range(len(LINES))))
def test_shuffled_rows_and_lines_give_the_same_tables(tmp_path_factory, seed, order):
    """Rows of every file and the lines themselves in any order."""
    folder = tmp_path_factory.mktemp("shuffled")
    expected = tables_of(corrected_study(folder / "straight", *LINES))
    shuffle = lambda table: table.sample(frac=1, random_state=np.random.default_rng(seed))  # noqa: E731
    study = corrected_study(folder / "turned", *(LINES[at] for at in order), changes=dict.fromkeys(tables(), shuffle))
    intake = read_study(read_plan(study))
    assert intake.corrections["state"].eq("applied").all()
    for name, table in expected.items():
        key = list(read_plan(study).schema[name].key)
        assert_frame_equal(
            intake.tables[name].sort_values(key, ignore_index=True), table.sort_values(key, ignore_index=True)
        )


def test_an_extended_file_keeps_its_corrections(tmp_path):
    more = added({"patient_id": "p0", "age_years": "70"}, {"patient_id": "p9", "age_years": "71"})
    study = corrected_study(tmp_path, *LINES, changes={"patients": lambda table: more(table)[::-1]})
    assert set(states(study).values()) == {"applied"}
    patients = tables_of(study)["patients"].set_index("patient_id")
    assert patients["age_years"].to_dict() == {"p1": 54, "p2": 62, "p7": 47, "p0": 70, "p9": 71}


def test_the_key_holds_no_file(tmp_path):
    """The rows of one file sent as two, the second row in the other one."""
    study = corrected_study(tmp_path, LINES[0])
    rows = (study / "patients.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (study / "patients.csv").write_text("".join(rows[:2]), encoding="utf-8")
    (study / "rest.csv").write_text(rows[0] + "".join(rows[2:]), encoding="utf-8")
    plan = (study / "study.yaml").read_text(encoding="utf-8")
    assert plan.count("patients.csv") == 1
    (study / "study.yaml").write_text(plan.replace("patients.csv", "[patients.csv, rest.csv]"), encoding="utf-8")
    assert tables_of(study)["patients"]["age_years"].tolist() == [54, 62, 47]


# ── keys and references ─────────────────────────────────────────────────────────────────────────


def test_references_go_along_with_a_corrected_key(tmp_path):
    study = corrected_study(
        tmp_path, line("patients", "p2", "patient_id", "p20"), line("sites", "s3", "site_id", "s30", 2)
    )
    assert problems(study) == []
    found = tables_of(study)
    assert found["sites"]["patient_id"].tolist() == ["p1", "p20", "p20", "p3"]
    assert found["steps"]["site_id"].tolist() == ["s1"] * 3 + ["s2"] * 2 + ["s30"] * 2
    assert found["visits"]["site_id"].tolist() == ["s1"] * 3 + ["s2"] * 2 + ["s30"] * 2
    cells = read_study(read_plan(study)).corrected
    assert cells.loc[cells["followed"], ["table", "column"]].value_counts().to_dict() == {
        ("sites", "patient_id"): 2,
        ("steps", "site_id"): 2,
        ("visits", "site_id"): 2,
    }


def test_two_keys_that_were_exchanged_are_exchanged_with_all_that_refers_to_them(tmp_path):
    swap = [line("patients", "p1", "patient_id", "p3"), line("patients", "p3", "patient_id", "p1", 2)]
    found = tables_of(corrected_study(tmp_path, *swap))
    assert found["patients"]["patient_id"].tolist() == ["p3", "p2", "p1"]
    assert found["sites"]["patient_id"].tolist() == ["p3", "p2", "p2", "p1"]


def test_a_reference_with_a_line_of_its_own_does_not_follow(tmp_path):
    lines = [line("patients", "p2", "patient_id", "p20"), line("sites", "s3", "patient_id", "p1", 2)]
    assert tables_of(corrected_study(tmp_path, *lines))["sites"]["patient_id"].tolist() == ["p1", "p20", "p1", "p3"]


def test_references_stay_where_another_row_still_has_the_key(tmp_path):
    """Which of the two patients a site meant nobody can tell."""
    changes = {"patients": added({"patient_id": "p2", "age_years": "33"})}
    filed = tables()
    filed["patients"] = changes["patients"](filed["patients"])
    key = "row:" + by_hand("patients", sorted([a, b] for a, b in filed["patients"].iloc[3].items() if b))
    study = corrected_study(tmp_path, line(key=key, column="patient_id", value="p9", stood="p2"), changes=changes)
    assert states(study) == {1: "applied"}
    found = tables_of(study)
    assert found["patients"]["patient_id"].tolist() == ["p1", "p2", "p3", "p9"]
    assert found["sites"]["patient_id"].tolist() == ["p1", "p2", "p2", "p3"]


def test_the_key_of_a_line_is_the_one_before_corrections(tmp_path):
    lines = [line("patients", "p2", "patient_id", "p20"), line("patients", "p2", "age_years", "62", 2)]
    patients = tables_of(corrected_study(tmp_path, *lines))["patients"].set_index("patient_id")
    assert patients["age_years"].to_dict() == {"p1": 54, "p20": 62, "p3": 47}


# ── rows alike, rows without a key ──────────────────────────────────────────────────────────────


def drafts_of(study):
    plan = read_plan(study)
    return checked_drafts(plan, read_corrections(plan))


def test_one_line_corrects_all_exact_copies(tmp_path):
    study = corrected_study(
        tmp_path, line("sites", "s1", "tooth", "17"), changes={"sites": lambda table: pd.concat([table, table[:1]])}
    )
    assert states(study) == {1: "applied"}
    assert drafts_of(study)["sites"].raw["tooth"].tolist() == ["17", "26", "17", "15", "17"]


def test_leaving_out_copies_keeps_the_first(tmp_path):
    changes = {"sites": lambda table: pd.concat([table, table[:1]])}
    study = corrected_study(tmp_path, line("sites", "s1", "", "leave out copies", stood=""), changes=changes)
    assert_same(tables_of(study), tables_of(write_study(tmp_path / "sound")))
    assert read_study(read_plan(study)).set_aside["row"].tolist() == [6]


def test_rows_of_one_key_that_are_no_copies_are_ambiguous(tmp_path):
    changes = {"sites": added({"site_id": "s1", "tooth": "14"})}
    study = corrected_study(tmp_path, line("sites", "s1", "protocol", "B"), changes=changes)
    assert states(study) == {1: "ambiguous"}
    assert any("2 rows that are no copies have the key that it names" in told for told in problems(study))
    assert drafts_of(study)["sites"].raw["protocol"].tolist()[0] == "A"


def test_a_repeated_patient_cell_changes_in_all_its_rows(tmp_path):
    """As where one flat sheet names the patient in each row of a site."""
    changes = {"patients": added({"patient_id": "p1", "centre": "north", "age_years": "53"})}
    hashed = by_hand("patients", "p1", "age_years", ["53", "54"])
    one = line(column="age_years", value="55") | {"stood": "several", "stood_hash": hashed}
    study = corrected_study(tmp_path, one, changes=changes)
    assert states(study) == {1: "applied"}
    assert drafts_of(study)["patients"].raw["age_years"].tolist() == ["55", "61", "47", "55"]
    changes = {"patients": added({"patient_id": "p1", "centre": "north", "age_years": "30"})}
    assert states(corrected_study(tmp_path, one, changes=changes)) == {1: "not there"}


def keyless(*copies):
    rows = [{"site_id": "", "tooth": "14", "patient_id": "p1"} for _ in copies or (1,)]
    return {"sites": added(*rows)}


def hash_key(changes) -> str:
    filed = changes["sites"](tables()["sites"])
    return "row:" + by_hand("sites", sorted([name, text] for name, text in filed.iloc[-1].items() if text))


def test_a_row_without_a_key_is_known_by_the_keyed_hash_of_its_cells(tmp_path):
    one = line("sites", hash_key(keyless()), "site_id", "s5", stood="")
    study = corrected_study(tmp_path, one, changes=keyless())
    assert states(study) == {1: "applied"}
    assert tables_of(study)["sites"]["site_id"].tolist() == ["s1", "s2", "s3", "s4", "s5"]


def test_two_rows_without_a_key_that_look_alike_may_be_two_sites(tmp_path):
    one = line("sites", hash_key(keyless()), "site_id", "s5", stood="")
    assert states(corrected_study(tmp_path, one, changes=keyless(1, 2))) == {1: "ambiguous"}


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
    assert said.err.count("no row of patients has the key that it names") == 1


def test_a_chain_of_lines_ends_in_the_last_and_withdrawing_it_gives_back_what_was_sent(tmp_path):
    chain = [line(value="a"), line(value="b", number=2, supersedes="1"), line(value="c", number=3, supersedes="2")]
    study = corrected_study(tmp_path, *chain)
    assert states(study) == {1: "superseded", 2: "superseded", 3: "applied"}
    assert tables_of(study)["patients"]["centre"][0] == "c"
    write_lines(study, *chain, withdrawing(4, 3))
    assert states(study) == {1: "superseded", 2: "superseded", 3: "withdrawn"}
    assert tables_of(study)["patients"]["centre"][0] == "north"
    write_lines(study, *chain, withdrawing(4, 3), line(value="d", number=5, supersedes="4"))
    assert tables_of(study)["patients"]["centre"][0] == "d"


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
        f"{CORRECTIONS_FILE}: 2 lines cannot be checked, for {KEY_FILE} is not beside it. Put it back, or say "
        "--trust to apply them."
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


def test_the_file_is_an_input_of_a_run(tmp_path):
    study = corrected_study(tmp_path, line())
    hashes = input_hashes(read_plan(study))
    assert CORRECTIONS_FILE in hashes
    append_corrections(read_plan(study), [Correction(**line(value="west") | {"line": 2, "supersedes": 1})])
    assert input_hashes(read_plan(study)) != hashes

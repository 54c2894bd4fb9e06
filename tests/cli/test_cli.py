"""The command line: exit status, streams, and the ladder in words."""

from __future__ import annotations

import pytest
from studies import added, cell, write_study

from liftseries.cli import main

# The set of the check values, common practice with no source: a 7 and a 10 mm drill, a 10 mm gauge.
INSTRUMENTS = """
instrument_id | role     | approach | diameter_mm | length_mm | guide_shank_mm
short         | widening | guided   | 3           | 7         | 7.5
long          | widening | guided   | 3           | 10        | 7.5
gauge         | gauge    | guided   | 2           | 10        |
"""
STOPS = """
stop_id | marking_mm | marking_means | marked_on_length_mm
two     | 2          | length        |
three   | 3          | length        |
four    | 4          | length        |
five    | 5          | length        |
six     | 6          | length        |
"""


@pytest.fixture
def study(tmp_path):
    from studies import grid

    changes = {"instruments": grid(INSTRUMENTS), "stops": grid(STOPS), "steps": None}
    return write_study(tmp_path / "study", changes)


def test_check_accepts_a_sound_study(tmp_path, capsys):
    assert main(["check", str(write_study(tmp_path / "study"))]) == 0
    assert "No problem found." in capsys.readouterr().out


def test_table_outside_the_study_is_read_only_where_its_folder_is_named_absolute(tmp_path, capsys, monkeypatch):
    study, elsewhere = write_study(tmp_path / "study"), tmp_path / "elsewhere"
    elsewhere.mkdir()
    (study / "patients.csv").rename(elsewhere / "patients.csv")
    plan = (study / "study.yaml").read_text(encoding="utf-8")
    (study / "study.yaml").write_text(plan.replace("patients.csv", "../elsewhere/patients.csv"), encoding="utf-8")
    assert main(["check", str(study), "--read-from", str(elsewhere)]) == 0
    assert main(["check", str(study)]) == 1
    assert "name its folder on the command line with --read-from" in capsys.readouterr().out
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit, match="2"):
        main(["check", str(study), "--read-from", "elsewhere"])
    assert "the absolute path of a folder is needed" in capsys.readouterr().err


@pytest.mark.parametrize("words", [["run"], ["check", "nowhere"], ["ladder", "nowhere", "--rbh-min", "4"], ["draw"]])
def test_wrong_use_says_2(words, capsys):
    try:
        status = main(words)
    except SystemExit as left:  # argparse's own way
        status = left.code
    assert status == 2
    assert "Traceback" not in capsys.readouterr().err


def test_ladder_of_the_check_values(study, capsys):
    """Lowest bone 4 mm: first 3 mm with the 4 mm stop, then 3 and 2 mm stops; the gauge takes 6 and 5 mm ones."""
    words = ["--rbh-min", "4", "--rbh-max", "5", "--guide-offset", "10.5", "--soft-tissue", "3", str(study)]
    assert main(["ladder", *words]) == 0
    passes = [line.split()[:5] for line in capsys.readouterr().out.splitlines() if line.strip()[:1].isdigit()]
    assert passes == [
        ["1", "1", "short", "four", "3"],
        ["2", "2", "short", "three", "4"],
        ["3", "2", "gauge", "six", "4"],
        ["4", "3", "short", "two", "5"],
        ["5", "3", "gauge", "five", "5"],
    ]


def test_ladder_warns_of_stops_of_both_markings(study, capsys):
    """The classic misreading waits where one number means a length and the next a depth; common practice, no source."""
    words = ["ladder", "--rbh-min", "4", "--rbh-max", "5", str(study)]
    main(words)
    assert "both markings" not in capsys.readouterr().out
    with (study / "stops.csv").open("a") as file:
        file.write("leaves,0.5,depth,7\n")
    words[2] = "1.5"
    main(words)
    told = capsys.readouterr().out
    assert "0.5, a depth" in told
    assert "this ladder takes stops of both markings" in told


def test_ladder_says_why_there_is_none(study, capsys):
    assert main(["ladder", "--rbh-min", "0.5", "--rbh-max", "1", str(study)]) == 0
    assert "No ladder: no first rung" in capsys.readouterr().out


def test_ladder_carries_the_caution(study, capsys):
    main(["ladder", "--rbh-min", "4", "--rbh-max", "5", str(study)])
    assert "no advice for a patient in the chair" in capsys.readouterr().out


def test_new_study_is_a_start(tmp_path, capsys):
    folder = tmp_path / "mine"
    assert main(["new", str(folder)]) == 0
    assert {path.name for path in folder.iterdir()} >= {
        "study.yaml",
        "patients.csv",
        "sites.csv",
        "stops.csv",
    }
    capsys.readouterr()
    assert main(["new", str(folder)]) == 2
    assert "not an empty folder" in capsys.readouterr().err


def times(n: int, perforated: int):
    """Changes that make `n` copies of the small study; s1 perforated in the first `perforated` of them."""
    import pandas as pd

    def copied(table: pd.DataFrame) -> pd.DataFrame:
        copies = []
        for i in range(n):
            copy = table.copy()
            for key in copy.columns.intersection(["patient_id", "site_id"]):
                copy[key] = copy[key] + f"-{i}"
            if "perforation" in copy:
                copy["perforation"] = ["yes" if i < perforated else "no", "unknown", "no", "no"]
            copies.append(copy)
        return pd.concat(copies, ignore_index=True)

    return {"patients": copied, "sites": copied, "steps": None, "visits": None}


def test_size_answers_the_same_on_one_core_and_on_two(tmp_path, capsys):
    study = str(write_study(tmp_path / "study", times(20, perforated=6)))
    words = ["size", study, "--within", "4,0", "--simulations", "100", "--quiet"]
    assert main([*words, "--cores", "2"]) == 0
    said = capsys.readouterr()
    assert "the perforation rate within ± 4 percentage points" in said.out
    assert "60 patients with 60 sites, 10.0% of them perforated" in said.out
    assert said.err == ""  # no bar where nobody watches
    assert main([*words, "--cores", "1"]) == 0
    assert capsys.readouterr().out == said.out
    # One known site a patient, so the textbook holds: 1.96² × 0.1 × 0.9 / 0.04² = 216.
    n_patients = int(said.out.splitlines()[1].split()[0])
    assert 200 < n_patients < 235


def test_size_of_a_term_is_told_as_a_ratio_too(tmp_path, capsys):
    study = str(
        write_study(tmp_path / "study", times(20, perforated=6), plan="plan: {perforation_terms: [rbh_mid_mm]}")
    )
    assert main(["size", study, "--of", "rbh_mid_mm", "--within", "0.5", "--simulations", "40"]) == 0
    assert "rbh_mid_mm within ± 0.5 log odds (odds ratio × or ÷ 1.65)" in capsys.readouterr().out


@pytest.mark.parametrize(("perforated", "of", "words"), [(0, "rate", "one-sided bound"), (6, "luck", "no such term")])
def test_size_without_an_answer_says_1(perforated, of, words, tmp_path, capsys):
    study = str(write_study(tmp_path / "study", times(10, perforated)))
    assert main(["size", study, "--within", "2", "--of", of]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert words in said.err
    assert "Traceback" not in said.err


def test_bar_fills_and_is_cleared_on_a_terminal():
    import io

    from liftseries.base.progress import Bar

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    terminal, file = Terminal(), io.StringIO()
    with Bar("Simulating", terminal) as bar:
        bar(1, 4)
        bar(4, 4)
    assert " 25%" in terminal.getvalue()
    assert "=" * 30 in terminal.getvalue()
    assert terminal.getvalue().endswith("\r" + " " * 48 + "\r")
    with Bar("Simulating", file) as bar:
        bar(1, 4)
    assert file.getvalue() == ""


def test_check_tells_five_places_of_a_rule_and_counts_what_is_accepted(tmp_path, capsys):
    """Seven visits of s3 lie after the closing; a torque is accepted."""
    visits = added(*({"site_id": "s3", "months": str(100 + k), "status": "not_examined"} for k in range(7)))
    plan = """study: {data_until: 2021-12}
accepted_oddities:
  - {rule: torque_high, keys: all, why: a wrench of the house, by: dm1, date: 2025-03-04}
  - {rule: sites_equal, keys: [s1, s2], why: twins, by: dm1, date: 2025-03-04}"""
    study = write_study(tmp_path / "study", {"visits": visits, "sites": cell(2, "torque_ncm", "90")}, plan=plan)
    assert main(["check", str(study)]) == 0
    told = capsys.readouterr().out
    assert "Odd, visit_beyond_closing (7 entries)" in told
    assert "visits.csv, months: rows 9, 10, 11, 12, 13 and 2 more" in told  # five of seven
    assert "Odd and accepted, torque_high: 1 entry." in told
    assert "sites_equal: 2 accepted keys without an odd entry now." in told
    assert "torque_high: " not in told.replace("Odd and accepted, torque_high: ", "")
    assert "sites.csv, row 2, torque_ncm" not in told

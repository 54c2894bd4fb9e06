"""Lines of corrections.csv taken back: the line before holds again, where it was none that said the same."""

from __future__ import annotations

from corrected_studies import corrected_study, line, states, tables_of, withdrawing, write_lines

from liftseries.cli import main


def test_a_chain_of_lines_ends_in_the_last_and_withdrawing_it_gives_back_the_one_before(tmp_path):
    chain = [line(value="a"), line(value="b", number=2, supersedes="1"), line(value="c", number=3, supersedes="2")]
    study = corrected_study(tmp_path, *chain)
    assert states(study) == {1: "superseded", 2: "superseded", 3: "applied"}
    assert tables_of(study)["patients"]["centre"][0] == "c"
    write_lines(study, *chain, withdrawing(4, 3))
    assert states(study) == {1: "superseded", 2: "applied", 3: "withdrawn"}
    assert tables_of(study)["patients"]["centre"][0] == "b"
    write_lines(study, *chain, withdrawing(4, 3), withdrawing(5, 2), withdrawing(6, 1))
    assert states(study) == {1: "withdrawn", 2: "withdrawn", 3: "withdrawn"}
    assert tables_of(study)["patients"]["centre"][0] == "north"
    write_lines(study, *chain, withdrawing(4, 3), line(value="d", number=5, supersedes="4"))
    assert states(study) == {1: "superseded", 2: "superseded", 3: "withdrawn", 5: "applied"}
    assert tables_of(study)["patients"]["centre"][0] == "d"


def test_a_line_that_was_taken_back_does_not_come_again_with_the_one_before_it(tmp_path):
    """2 came in the place of 1 and is gone; 3 is of the same cell, and taken back, too."""
    first, third = line(value="a"), line(value="c", number=4)
    study = corrected_study(tmp_path, first, line(value="b", number=2), withdrawing(3, 1), third, withdrawing(5, 4))
    assert states(study) == {1: "withdrawn", 2: "applied", 4: "withdrawn"}


def test_a_line_that_only_says_an_earlier_one_again_is_taken_back_with_it(tmp_path):
    lines = [line(value="a"), line(value="a", number=2, supersedes="1"), withdrawing(3, 2)]
    study = corrected_study(tmp_path, *lines)
    assert states(study) == {1: "superseded", 2: "withdrawn"}
    assert tables_of(study)["patients"]["centre"][0] == "north"


def test_a_line_that_holds_again_can_itself_be_withdrawn(tmp_path, capsys):
    study = corrected_study(tmp_path, line(value="a"), line(value="b", number=2))
    who = ["--person", "dm1", "--reason", "wrong row"]
    assert main(["corrections", str(study), "--withdraw", "1", *who]) == 2  # superseded: it does not hold
    assert main(["corrections", str(study), "--withdraw", "2", *who]) == 0
    assert states(study) == {1: "applied", 2: "withdrawn"}
    assert "1 applied, 1 withdrawn" in capsys.readouterr().out
    assert main(["corrections", str(study), "--withdraw", "1", *who]) == 0
    assert states(study) == {1: "withdrawn", 2: "withdrawn"}

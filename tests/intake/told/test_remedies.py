"""A remedy is right: what a cause says to paste into study.yaml is pasted, and the cause is gone."""

from __future__ import annotations

import openpyxl
import pytest
import yaml
from studies import cells, write_study

from liftseries.intake.screens import words_to_paste
from liftseries.intake.study import check_study
from liftseries.intake.told.screen import paste_of
from liftseries.study.plan import read_plan

EMAIL = "quern@example.org"
# What is wrong -> how the folder is made.
WORDS = cells((2, "septum", "ja"), (3, "septum", "Nein"), (2, "soft_tissue_mm", "n/a"), (4, "soft_tissue_mm", "?"),
              (2, "placement", "Same-day"), (3, "graft", "Blood concentrate"), (5, "torque_ncm", "-"))  # fmt: skip
TYPED = {
    "words": {"sites": WORDS, "patients": cells((2, "sex", "w"), (3, "smoking", "Nichtraucher"))},
    "Universal numbers": {"sites": cells((2, "tooth", "3"), (3, "tooth", "14"), (4, "tooth", "13"), (5, "tooth", "5"))},
    "an identifier": {"sites": cells((2, "protocol", EMAIL))},
}


def hidden(folder):
    write_study(folder, ending="xlsx")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    book["visits"].row_dimensions[3].hidden = True
    book["visits"].column_dimensions["D"].hidden = True
    book.save(folder / "study.xlsx")


MADE = {kind: lambda folder, typed=typed: write_study(folder, typed) for kind, typed in TYPED.items()}
MADE["hidden rows and columns"] = hidden


def merged(into: dict, paste: dict) -> dict:
    """What a person does who pastes lines under a key that is there."""
    for key, value in paste.items():
        if isinstance(value, dict):
            merged(into.setdefault(key, {}), value)
        elif isinstance(value, list):
            into[key] = [*into.get(key, []), *value]
        else:
            into[key] = value
    return into


@pytest.mark.parametrize("kind", MADE)
def test_what_each_cause_says_to_paste_ends_it(tmp_path, kind):
    MADE[kind](tmp_path)
    file = tmp_path / "study.yaml"
    as_it_was = file.read_text(encoding="utf-8")
    intake, _ = check_study(read_plan(tmp_path))
    offered = [(cause, paste) for cause in intake.causes if (paste := paste_of(cause, intake.proposed_reading))]
    assert len(offered) == len(intake.causes)  # nothing else is wrong here
    for cause, paste in offered:
        written = yaml.safe_load(as_it_was)
        merged(written.setdefault("reading", {}), paste)
        file.write_text(yaml.safe_dump(written), encoding="utf-8")
        left = check_study(read_plan(tmp_path))[0].causes
        assert (cause.rule, cause.column) not in {(other.rule, other.column) for other in left}


@pytest.mark.parametrize("there", ["", "reading:\n  hidden: read\n  levels:\n    sex: {Mann: male}\n"])
def test_lines_to_paste_hold_every_word_that_needs_it(tmp_path, there):
    """Where the section is there already, the lines stand in its place and keep what it says."""
    MADE["words"](tmp_path)
    file = tmp_path / "study.yaml"
    as_it_was = file.read_text(encoding="utf-8")
    file.write_text(as_it_was + there, encoding="utf-8")
    plan = read_plan(tmp_path)
    lines = words_to_paste(plan, check_study(plan)[0])
    file.write_text(f"{as_it_was}\n{lines}", encoding="utf-8")
    plan = read_plan(tmp_path)
    assert check_study(plan)[1] == []
    if there:
        assert plan.reading.hidden == "read"
        assert plan.reading.levels["sex"] == {"Mann": "male", "w": "female"}


def test_words_that_no_list_knows_are_counted_below_the_lines(tmp_path):
    from liftseries.intake.screens import screen_of

    folder = write_study(tmp_path, {"sites": cells((2, "septum", "ja"), (3, "septum", "quern"), (4, "graft", "quern"))})
    plan = read_plan(folder)
    intake, _ = check_study(plan)
    screen = screen_of(plan, intake, intake.causes)
    assert "# septum: 1 cell with words" in screen
    assert "# graft: 1 cell with words" in screen

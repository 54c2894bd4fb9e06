"""Texts that cannot be seen, or are no label any more, do not pass; letters of any language do."""

from __future__ import annotations

import pytest
from studies import cell, write_study

from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan


def problems(tmp_path, value: str) -> list[str]:
    study = write_study(tmp_path, {"sites": cell(3, "protocol", value)})
    return [str(problem) for problem in check_study(read_plan(study))[1]]


@pytest.mark.parametrize("unseen", ["\x07", "\x1b[31m", "\u202e", "\ufffe", "\x9b"])
def test_a_control_character_in_a_text_is_refused_by_its_number(tmp_path, unseen):
    (told,) = problems(tmp_path, f"A{unseen}B")
    assert "sites.csv, row 3, protocol" in told
    assert f"U+{ord(unseen[0]):04X}" in told


def test_a_text_too_long_for_a_label_is_refused(tmp_path):
    (told,) = problems(tmp_path, "A" * 257)
    assert "a text of 257 characters" in told
    assert not problems(tmp_path / "innocent", "A" * 256)


@pytest.mark.parametrize("seen", ["Protokoll Ä", "术式", "А-1", "a\u00adb"])
def test_letters_of_any_language_are_taken(tmp_path, seen):
    assert not problems(tmp_path, seen)

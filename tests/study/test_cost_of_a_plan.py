"""What somebody writes into study.yaml costs no more than its length, and nothing unseen stands in it."""

from __future__ import annotations

import pytest
from studies import write_study

from liftseries.base.errors import StudyError
from liftseries.study.plan import read_plan

LAUGHS = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{name}: &{name} [{', '.join([f'*{before}'] * 9)}]\n" for before, name in zip("abcdefgh", "bcdefghi", strict=True)
)
REFUSED = {
    "nine levels of aliases": (LAUGHS, "line 1: not YAML: an anchor"),
    "an alias": ("study: {id: &x A, title: *x}\n", "an anchor"),
    "a merged mapping": ("plan: &p {seed: 1}\naudit: {<<: *p}\n", "an anchor"),
    "lists within lists": ("- " * 100_000 + "x", "levels of keys or lists"),
    "brackets": ("plan: " + "[" * 5000 + "]" * 5000, "levels of keys or lists"),
    "a large file": ("study: {title: " + "x " * 400_000 + "}", "larger than"),
    "a bell in the title": ('study: {title: "a\\u0007b"}\n', r"U\+0007"),
    "an escape in the question": ('study: {question: "\\e[2J"}\n', r"U\+001B"),
    "text that runs the other way": ('study: {title: "a\\u202Eb"}\n', r"U\+202E"),
    "half a letter": ('study: {title: "\\ud800"}\n', r"U\+D800"),
}


@pytest.mark.parametrize(("text", "told"), REFUSED.values(), ids=REFUSED)
def test_a_plan_that_costs_more_than_its_length_or_hides_something_is_refused(tmp_path, text, told):
    (tmp_path / "study.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(StudyError, match=told):
        read_plan(tmp_path)


@pytest.mark.parametrize("title", ["Höhe & Länge, 4 mm", "上顎洞", '"a\\tb"', '"*no alias"'])
def test_an_innocent_title_is_taken(tmp_path, title):
    assert read_plan(write_study(tmp_path, plan=f"study:\n  title: {title}")).title

"""What somebody writes into study.yaml costs no more than its length, and nothing unseen stands in it."""

from __future__ import annotations

import os

import pytest
from studies import write_study

from liftseries.base.errors import StudyError
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import folders_of

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
    "a tag that no value fits": ("study: {title: !!bool perhaps}\n", r"line 1: not YAML: a tag \(!\)"),
    "an empty number": ('study: {title: !!int ""}\n', r"a tag \(!\)"),
    "a number of a million digits": ("plan: {seed: " + "1" * 400_000 + "}\n", "a number of more than 40 digits"),
    "a number in hours": ("plan: {seed: 1" + ":59" * 100_000 + "}\n", "a number of more than 40 digits"),
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


@pytest.mark.parametrize(
    "title", ["Höhe & Länge, 4 mm", "上顎洞", '"a\\tb"', '"*no alias"', '"!no tag"', "9" * 41 + "a"]
)
def test_an_innocent_title_is_taken(tmp_path, title):
    assert read_plan(write_study(tmp_path, plan=f"study:\n  title: {title}")).title


@pytest.mark.parametrize("text", [text for text, _ in REFUSED.values()], ids=REFUSED)
def test_a_look_for_the_output_folder_comes_to_an_end_too(tmp_path, text):
    """Before the plan is read, for a run that has nothing to do."""
    (tmp_path / "study.yaml").write_text(text, encoding="utf-8")
    assert folders_of(tmp_path) == (tmp_path, None)


def test_a_plan_that_is_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "study.yaml")
    assert folders_of(tmp_path) == (tmp_path, None)
    with pytest.raises(StudyError, match="is no file, but a folder, a pipe or a device"):
        read_plan(tmp_path)


TABLES = "tables: {patients: %s, sites: sites.csv, instruments: instruments.csv, stops: stops.csv}\n"
NAMES = ", ".join(f"c{at}" for at in range(30_000))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (TABLES % f"[{NAMES}]", "tables, patients: 30000 entries; at most 2000 are taken"),
        ("plan: {resamples: 99999999999}\n", "plan, resamples: 99999999999 is too large; the limit is 1000000"),
        ("plan: {survival_months: [1.0e+38]}\n", "plan, survival_months, entry 1: 1e\\+38 is too large"),
        (f"plan: {{gain_terms: [{NAMES}]}}\n", "plan, gain_terms: 30000 entries; at most 100"),
        (f"extra_columns: {{sites: {{{NAMES}}}}}\n", "extra_columns, sites: 30000 entries; at most 500"),
    ],
    ids=["files", "resamples", "months", "terms", "columns"],
)
def test_a_plan_that_asks_for_more_than_ends_is_refused(tmp_path, text, told):
    (tmp_path / "study.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(StudyError, match=told):
        read_plan(tmp_path)

"""Remarks: each reads back as itself, no two read the same words, and the list holds only what is used."""

from __future__ import annotations

import ast
from pathlib import Path
from string import Formatter

import pytest

from liftseries.base.remark_templates import TEMPLATES
from liftseries.base.remarks import (
    OF_CASES,
    OF_CHOICE,
    WITHHELD_COUNT,
    Remark,
    _read_as,
    counts_of_cases,
    joined,
    names_in,
    remark,
    remarks_in,
)

SOURCE = Path(__file__).parents[2] / "src" / "liftseries"
SAMPLES = {
    "": "approach[guided]",
    "g": 12.5,
    ".1f": 0.5,
    "numbers": (3.0, 5.25, 7.0),
    "names": ("rbh_mid_mm", "approach[guided]", "sex"),
    "remark": Remark("last_follow_up", {"months": 36.0}),
}


def holes_of(name: str) -> dict[str, str]:
    """Hole -> kind."""
    return {hole: kind or "" for _, hole, kind, _ in Formatter().parse(TEMPLATES[name]) if hole}


def samples(name: str, count: int = 12) -> dict:
    return {hole: SAMPLES.get(kind, count) for hole, kind in holes_of(name).items()}


def test_every_kind_of_hole_is_known():
    assert {kind for name in TEMPLATES for kind in holes_of(name).values()} <= {*SAMPLES, *OF_CASES, *OF_CHOICE}


@pytest.mark.parametrize("name", TEMPLATES)
def test_a_remark_reads_back_as_itself(name):
    for count in (0, 1, 12, WITHHELD_COUNT):
        text = remark(name, **samples(name, count))
        assert remarks_in(text) == [Remark(name, samples(name, count))]
        assert str(remarks_in(text)[0]) == text


@pytest.mark.parametrize("name", TEMPLATES)
def test_no_other_template_reads_its_words(name):
    text = remark(name, **samples(name))
    assert [other for other in TEMPLATES if _read_as(other, text)] == [name]


def test_several_remarks_in_a_cell_read_back_in_their_order():
    text = joined(*(remark(name, **samples(name)) for name in TEMPLATES))
    assert [one.name for one in remarks_in(text)] == list(TEMPLATES)
    assert joined("", remark("per_unit"), "") == "per unit"


def test_a_count_has_its_noun_in_singular_plural_and_withheld():
    few = {"n_terms": 1}
    assert remark("few_events", n_events=1, **few) == "1 event for 1 term: too few to rely on"
    assert remark("few_events", n_events=12, n_terms=3) == "12 events for 3 terms: too few to rely on"
    withheld = remark("few_events", n_events=WITHHELD_COUNT, **few)
    assert withheld == "a withheld number of events for 1 term: too few to rely on"
    assert counts_of_cases("few_events") == {"n_events"}  # how many terms a model has tells of nobody


def test_a_list_of_one_two_and_three_names():
    told = [remark("terms_order_failures", terms=names) for names in (["a"], ["a", "b"], ["a", "b", "c"])]
    assert [text.partition("extreme of ")[2].partition(" together")[0] for text in told] == [
        "a",
        "a and b",
        "a, b and c",
    ]
    assert [remarks_in(text)[0].holes["terms"] for text in told] == [("a",), ("a", "b"), ("a", "b", "c")]


def test_withheld_knots():
    assert remark("knots", knots=()) == "restricted cubic spline, knots at withheld mm"


def test_words_that_no_template_reads_have_no_name():
    text = joined(remark("per_unit"), "by hand", remark("see", analysis="survival.cox"))
    assert names_in(text) == {"per_unit", "", "see"}
    assert remarks_in(text)[1] == Remark("", {"text": "by hand"})
    assert str(remarks_in(text)[1]) == "by hand"
    for nothing in ("", None, float("nan")):
        assert remarks_in(nothing) == []


def test_a_level_may_hold_a_semicolon():
    odd = remark("no_failure_at_level", column="operator", level="A; B")
    nested = remark("no_ratio", why=odd)
    for text in (odd, nested):
        (one, after) = remarks_in(joined(text, remark("see", analysis="survival.firth_cox")))
        assert (str(one), after.name) == (text, "see")


def test_a_remark_with_a_colon_stands_within_another():
    text = remark("at_level", column="protocol", level="B", why=remark("no_months_lost"))
    assert remarks_in(text) == [
        Remark("at_level", {"column": "protocol", "level": "B", "why": Remark("no_months_lost", {})})
    ]


def test_a_remark_of_unread_words_is_unread_itself():
    assert names_in("no ratio to explain away: by hand") == {""}


@pytest.mark.parametrize("wrong", [{}, {"column": "sex", "level": "male"}])
def test_holes_that_do_not_fit_are_refused(wrong):
    with pytest.raises((KeyError, TypeError)):
        remark("label_unknown", **wrong)


# ── in the source ───────────────────────────────────────────────────────────────────────────────────────────


def calls(of: str) -> list[tuple[Path, ast.Call]]:
    """Every call of a function of that name in the source."""
    found = []
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == of:
                found.append((path, node))
    return found


def texts_of(node: ast.expr, path: Path) -> list[str]:
    """The texts that an expression may be: a literal, either side of a choice, or what a name was given above."""
    if isinstance(node, ast.Name):
        given = [
            one.value
            for one in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(one, ast.Assign) and any(getattr(target, "id", "") == node.id for target in one.targets)
        ]
        return [text for value in given for text in texts_of(value, path)]
    if isinstance(node, ast.IfExp):
        return texts_of(node.body, path) + texts_of(node.orelse, path)
    return [node.value] if isinstance(node, ast.Constant) and isinstance(node.value, str) else []


def test_every_remark_is_made_somewhere_and_with_its_holes():
    made = set()
    for path, call in calls("remark"):
        if path.name == "remarks.py":
            continue
        names = texts_of(call.args[0], path)
        assert names, f"{path.name}, line {call.lineno}"
        made |= set(names)
        holes = {keyword.arg for keyword in call.keywords}
        for name in names:
            assert None in holes or holes == set(holes_of(name)), f"{path.name}, line {call.lineno}: {name}"
    assert made == set(TEMPLATES)


def test_what_is_not_fitted_says_so_in_a_remark():
    """No words of its own in a model or an estimator: neither raised, nor as the problem or note of a row."""
    for path, call in calls("NotFitted"):
        if path.parts[len(SOURCE.parts)] in ("models", "estimators"):
            assert not texts_of(call.args[0], path), f"{path.name}, line {call.lineno}"
            assert not isinstance(call.args[0], ast.JoinedStr), f"{path.name}, line {call.lineno}"
    for path in [*(SOURCE / "models").rglob("*.py"), *(SOURCE / "estimators").rglob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.keyword) and node.arg in ("problem", "note", "reason"):
                assert not isinstance(node.value, ast.JoinedStr), f"{path.name}, line {node.value.lineno}"
                assert not any(texts_of(node.value, path)), f"{path.name}, line {node.value.lineno}"

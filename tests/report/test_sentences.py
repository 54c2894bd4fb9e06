"""Every sentence of the report with every kind of count: nouns agree, nothing is left open, none is left unused."""

import ast
import re
from pathlib import Path

import pytest

import liftseries
from liftseries.base.remarks import WITHHELD_COUNT
from liftseries.report.languages.english import TEMPLATES
from liftseries.report.languages.say import WRITTEN, counts_in, parts_of, say

SOURCE = Path(liftseries.__file__).parent
COUNTS = (0, 1, 2, 634, -5, None)
NOT_A_NOUN = {"was", "were", "has", "have", "is", "are", "had", "did", "of", "and", "or"}
SAME_IN_BOTH = {"series"}  # nouns whose plural is their singular
AFTER_ONE = {"is", "was", "has", "of", "this", "its", "as", "less", "centre's", "series", "pass"}


def filler(kind: str):
    """Something that fits a hole that is no count."""
    if kind == "and":
        return ["height", "approach"]
    return "height" if kind == "" else 0.5


def filled(name: str, n) -> str:
    """A sentence with that count in all its counts."""
    holes = {hole: n if "|" in kind else filler(kind) for _, hole, kind in parts_of(TEMPLATES[name]) if hole}
    return say(name, **holes)


def count_holes(name: str):
    """The counts of a template: the words for one and for many."""
    return [tuple(kind.split("|")) for _, _, kind in parts_of(TEMPLATES[name]) if "|" in kind]


def rooms() -> list[str]:
    """What sentences' names begin with."""
    return sorted({name.partition(".")[0] for name in TEMPLATES})


def names_of(room: str) -> list[str]:
    """The names of the sentences of a room."""
    return [name for name in sorted(TEMPLATES) if name.partition(".")[0] == room]


def wrong_in(name: str, n: int | None) -> list[str]:
    """What is wrong with a sentence with that count in all its counts."""
    text, wrong = filled(name, n), []
    if not text:
        return ["nothing is said"]
    if odd := re.search(r"[{}#|]|\bNone\b|\bnan\b|  | [.,;:)]|\( |-1\b|\bof of\b", text):
        wrong.append(f"holds {odd[0]!r}")
    if text.endswith(".") and text[0] != text[0].upper():
        wrong.append("begins with a small letter")
    for one, many in count_holes(name):
        if one == many or "#" not in one:
            continue
        as_one, as_many = one.replace("#", "1"), many.replace("#", "1")
        if (as_one in text) != (n == 1):
            wrong.append(f"says {as_one!r} not of one alone")
        if as_many in text and as_many not in as_one:
            wrong.append(f"says {as_many!r}")
    if n == 1 and (found := set(re.findall(r"(?<![\d.,])(?<!- )1 ([a-z']+s)\b", text)) - AFTER_ONE):
        wrong.append(f"one is followed by {found}")
    return wrong and [*wrong, text]


@pytest.mark.parametrize("room", rooms())
def test_sentences_are_whole_with_any_count(room):
    wrong = {(name, n): found for name in names_of(room) for n in COUNTS if (found := wrong_in(name, n))}
    assert wrong == {}


def test_a_number_stands_before_its_noun():
    """`a withheld number of sites`, so a verb after the number has nobody to go with; and one is not many."""
    for name in TEMPLATES:
        for one, many in count_holes(name):
            for words in (one, many):
                noun = words.partition("#")[2].split()
                if "#" in words:
                    assert noun, f"{name}: a number alone"
                    assert noun[0] not in NOT_A_NOUN, f"{name}: {words}"
            assert one != many or set(one.split()) & SAME_IN_BOTH, f"{name}: {one}"


def test_a_missing_count_and_a_withheld_one_are_said_in_words():
    names = [name for name, text in TEMPLATES.items() if "[[" not in text]
    name = next(name for name in names if any("# site" in one for one, _ in count_holes(name)))
    assert filled(name, WITHHELD_COUNT) == ""  # nothing is said of it
    assert "fewer than 5 sites" in filled(name, -5).lower()
    assert "an unknown number of sites" in filled(name, None).lower()


def test_a_hole_that_stays_empty_or_is_not_there_stops_the_report():
    name, kind = next(
        (name, kind) for name in TEMPLATES for _, hole, kind in parts_of(TEMPLATES[name]) if hole and kind == ""
    )
    holes = {hole: 1 if "|" in of else filler(of) for _, hole, of in parts_of(TEMPLATES[name]) if hole}
    hole = next(hole for _, hole, of in parts_of(TEMPLATES[name]) if of == kind and hole)
    with pytest.raises(KeyError):
        say(name, **{other: value for other, value in holes.items() if other != hole})
    with pytest.raises(TypeError, match="has no hole"):
        say(name, **holes, of_nobody=1)
    with pytest.raises(TypeError, match="stays empty"):
        say(name, **holes | {hole: None})
    with pytest.raises(KeyError):
        say("no_room.no_sentence")


def test_holes_are_of_kinds_that_are_known():
    for name, text in TEMPLATES.items():
        for _, hole, kind in parts_of(text):
            if hole and "|" not in kind and kind not in WRITTEN and kind:
                assert re.fullmatch(r"\.?\d*[gf]", kind), f"{name}: {kind}"
        assert counts_in(text) == {hole for _, hole, kind in parts_of(text) if "|" in kind}


@pytest.fixture(scope="module")
def modules() -> list[tuple[Path, list[ast.Call | ast.Constant]]]:
    """The calls and constants of every module of the package, but the languages, that says or names a sentence."""
    found = []
    for path in sorted(SOURCE.rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        if "languages" not in path.parts and {"say", *TEMPLATES} & set(re.findall(r"[\w.]+", source)):
            nodes = ast.walk(ast.parse(source))
            found.append((path, [node for node in nodes if isinstance(node, ast.Call | ast.Constant)]))
    return found


def names_said(node: ast.expr) -> list[str]:
    """The names, as patterns, that an expression gives: a part that data fill in, such as a level, is any word."""
    if isinstance(node, ast.IfExp):
        return [*names_said(node.body), *names_said(node.orelse)]
    if isinstance(node, ast.JoinedStr):
        return ["".join(re.escape(v.value) if isinstance(v, ast.Constant) else r"[\w.]+" for v in node.values)]
    return [re.escape(node.value)] if isinstance(node, ast.Constant) and isinstance(node.value, str) else []


def said_in(nodes: list[ast.Call | ast.Constant]) -> list[tuple[int, str]]:
    """Line and name of what is said outright."""
    calls = (node for node in nodes if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "say")
    return [(call.lineno, pattern) for call in calls if call.args for pattern in names_said(call.args[0])]


def test_each_sentence_is_said_somewhere(modules):
    """By its whole name, wherever that stands, or by one of which data fill in a part."""
    texts, patterns = set(), set()
    for _, nodes in modules:
        texts |= {node.value for node in nodes if isinstance(node, ast.Constant)}
        patterns |= {pattern for _, pattern in said_in(nodes)}
    any_said = re.compile("|".join(f"({pattern})" for pattern in sorted(patterns)))
    unused = sorted(name for name in TEMPLATES if name not in texts and not any_said.fullmatch(name))
    assert not unused, unused


def test_each_sentence_that_is_said_is_there(modules):
    said = [(path.name, *one) for path, nodes in modules for one in said_in(nodes)]
    assert len(said) > 50
    for file, line, pattern in said:
        assert any(re.fullmatch(pattern, name) for name in TEMPLATES), f"{file}:{line}: {pattern}"


def test_a_part_in_brackets_goes_alone():
    told = {"ratio": "0.86 (0.66 to 1.11)"}
    assert say("perforation.answer_height_alone", n_sites=58, **told).endswith("1.11) (58 sites).")
    assert say("perforation.answer_height_alone", n_sites=WITHHELD_COUNT, **told).endswith("0.86 (0.66 to 1.11).")

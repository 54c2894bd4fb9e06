"""Problems and decisions by cause, as one screen of text: the most blocking first, and what does not fit counted."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence

from liftseries.base.numbers import counted
from liftseries.intake.told.causes import (
    MOST_PLACES,
    OF_THE_HEADER,
    Cause,
    Told,
    Variant,
    causes_of,
    common_place,
    listed,
)
from liftseries.intake.told.findings import FILE_RULES, Finding
from liftseries.study.schema import read_schema

SCREEN_LINES, WIDTH = 60, 110
FEWEST_LINES = 24  # for causes, whatever else there is to tell
MOST_WORDINGS, MOST_DECISIONS = 3, 8
MOST_DECIDED = 3  # places of a decision
ODD_LINES = 36  # for oddities of a study without a problem
IDENTIFIER_RULES = ("text_is_no_identifier", "header_is_no_identifier", "study_names_nobody")
OWN_WORD = "a text that is none of"
IN_WORDS = ("value_is_a_level", "missing_word_is_confirmed")  # their words are offered together, to be pasted


def problems_by_cause(findings: Iterable[Finding]) -> list[Cause]:
    """The causes, the most blocking first: files, headers, identifiers, keys, references, then by their count."""
    first: dict[tuple, Finding] = {}
    findings = list(findings)
    for finding in findings:
        first.setdefault((finding.rule, finding.file, finding.table), finding)
    causes = causes_of(findings)
    ranks = [_rank(cause, first[cause.rule, cause.file, cause.table]) for cause in causes]
    order = sorted(range(len(causes)), key=lambda at: (ranks[at], -causes[at].count, at))
    return [causes[at] for at in order]


def decisions_by_rule(decisions: Iterable[Told]) -> list[Cause]:
    """The most frequent first."""
    return sorted(causes_of(decisions, by=("rule",)), key=lambda cause: -cause.count)


def _rank(cause: Cause, finding: Finding) -> int:
    keys = {table.key[0] for table in read_schema().values()} | {"step_no"}
    if cause.rule in FILE_RULES:
        return 0
    if cause.rule in IDENTIFIER_RULES:
        return 2
    if finding.stops_the_run:
        return 1
    if cause.rule == "reference_is_known":
        return 4
    return 3 if cause.column in keys or not cause.column or cause.rule == "key_is_unique" else 5


def problem_screen(
    causes: Sequence[Cause],
    proposed: Mapping | None = None,
    words_to_paste: str = "",
    decisions: Sequence[Cause] = (),
    closing: Sequence[str] = (),
    replaces: bool = False,
) -> str:
    """At most a screen, unless the lines to paste are long.

    Parameters
    ----------
    causes, decisions
    proposed : words that study.yaml may confirm, as `proposed_reading` gives them
    words_to_paste : those among what stands there already, as lines for study.yaml, or ""
    closing : the last lines
    replaces : study.yaml has a section `reading` already
    """
    below = [*decision_lines(decisions), *_paste_lines(words_to_paste, replaces, causes), *closing]
    n = sum(cause.count for cause in causes)
    lines = [f"{counted(n, 'problem')} of {counted(len(causes), 'cause')}, the most blocking first."]
    room = max(FEWEST_LINES, SCREEN_LINES - len(below) - 2)
    for at, cause in enumerate(causes):
        told = cause_lines(at + 1, cause, cause.rule in IN_WORDS and bool(paste_of(cause, proposed or {})))
        if len(lines) + len(told) > room:
            left = causes[at:]
            n_left = counted(sum(cause.count for cause in left), "problem")
            lines.append(f"… and {counted(len(left), 'more cause')} with {n_left}; --list has them all.")
            break
        lines += told
    return "\n".join([*lines, *below]) + "\n"


def cause_lines(number: int, cause: Cause, in_words: bool = False) -> list[str]:
    """A paragraph: where and how often, what stood there at which places, what to do."""
    places = [place for variant in cause.variants[:MOST_WORDINGS] for place in variant.places]
    where, spots = common_place(places)
    count = f": {counted(cause.count, 'place')}" if cause.count > 1 else ""
    lines = _wrapped(f"{number}. {where}{count}  [{cause.rule}]", "", "   ")
    for variant in cause.variants[:MOST_WORDINGS]:
        own, spots = spots[: len(variant.places)], spots[len(variant.places) :]
        lines += _wrapped(_variant_line(cause.rule, variant, own, len(cause.variants) > 1), "   ", "     ")
    if rest := cause.variants[MOST_WORDINGS:]:
        n = sum(variant.count for variant in rest)
        lines.append(f"   and {counted(n, 'place')} in {counted(len(rest), 'other wording')}")
    remedy = "Confirm the words by the lines to paste below, and correct the cells that are not in them."
    if remedy := (remedy if in_words else cause.remedy):
        lines += _wrapped(f"→ {remedy}", "   ", "     ")
    return lines


def _variant_line(rule: str, variant: Variant, spots: Sequence[str], with_count: bool) -> str:
    names = rule in OF_THE_HEADER and all(variant.columns)
    where = listed(variant.columns if names else spots, variant.count)
    count = f"{variant.count} × " if with_count and variant.count > 1 else ""
    return f"{count}{variant.words}" + (f": {where}" if where else "")


def decision_lines(decisions: Sequence[Cause]) -> list[str]:
    """What was read otherwise than it shows, a line a rule with its count and first places."""
    if not decisions:
        return []
    n = sum(cause.count for cause in decisions)
    lines = [f"{counted(n, 'decision')} on what is not simply what it shows; --decisions FILE.csv lists them:"]
    for cause in decisions[:MOST_DECISIONS]:
        places = list(dict.fromkeys(place for variant in cause.variants for place in variant.places))
        n_items = sum(variant.n_items for variant in cause.variants)
        more = (len(places) if n_items <= MOST_PLACES else n_items) - MOST_DECIDED
        where = "; ".join(places[:MOST_DECIDED]) + (f" and {more} more" if more > 0 else "")
        lines += _wrapped(f"{cause.count} × {cause.variants[0].words} [{cause.rule}]: {where}", "   ", "     ")
    if rest := decisions[MOST_DECISIONS:]:
        lines.append(f"   and {counted(len(rest), 'rule')} more, {sum(cause.count for cause in rest)} times")
    return lines


def oddity_lines(odd: Sequence[Cause], rules: Mapping[str, str], brief: bool) -> list[str]:
    """What is possible but odd, a paragraph a rule with its first places; where `brief` the rules with their counts.

    Parameters
    ----------
    odd : by rule
    rules : rule -> its threshold and reason
    brief
    """
    if not odd:
        return []
    n = counted(sum(cause.count for cause in odd), "odd entry", "odd entries")
    if brief:
        return _wrapped(f"{n}: {', '.join(f'{cause.rule} {cause.count}' for cause in odd)}.", "", "   ")
    lines = []
    for at, cause in enumerate(odd):
        where, spots = common_place([place for variant in cause.variants for place in variant.places][:MOST_PLACES])
        told = _wrapped(
            f"Odd, {cause.rule} ({counted(cause.count, 'entry', 'entries')}): {rules[cause.rule]}", "", "   "
        )
        told += _wrapped(f"{where}: {listed(spots, cause.count)}".removesuffix(": "), "   ", "     ")
        told += _wrapped(cause.variants[0].words + ".", "   ", "     ")
        if len(lines) + len(told) > ODD_LINES:
            lines.append(f"… and {counted(len(odd) - at, 'rule')} more; oddities.csv has all after a run.")
            break
        lines += told
    remedy = "send them out to be corrected (`--corrections FILE.xlsx --odd`), or name them under `accepted_oddities`"
    return [*lines, f"{n}. They stop nothing: {remedy} in study.yaml."]


def _paste_lines(words: str, replaces: bool, causes: Sequence[Cause]) -> list[str]:
    if not words:
        return []
    how = "put this in study.yaml in the place of its section `reading`" if replaces else "paste this into study.yaml"
    return [f"If these words mean what they seem to, {how}:", "", *words.rstrip().split("\n"), *_lacking(causes), ""]


def _lacking(causes: Sequence[Cause]) -> list[str]:
    """Columns with words of their own: a remark below the lines to paste, for nobody may quote the words here."""
    lacking: dict[str, int] = {}
    for cause in causes:
        if cause.rule == "value_is_a_level":
            own = (variant for variant in cause.variants if variant.told.startswith(OWN_WORD))
            n = sum(variant.count for variant in own if "may mean" not in variant.told)
            lacking[cause.column] = lacking.get(cause.column, 0) + n
    return [
        f"  # {column}: {counted(n, 'cell')} with words that no list of ours knows; add them under `levels`"
        for column, n in lacking.items()
        if n
    ]


def _wrapped(text: str, first: str, further: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=further, break_long_words=False, break_on_hyphens=False
    )


def paste_of(cause: Cause, proposed: Mapping) -> dict:
    """What study.yaml may take under `reading` so that the cause is none; empty where nothing there mends it.

    Parameters
    ----------
    cause
    proposed : words that study.yaml may confirm, as `proposed_reading` gives them
    """
    if cause.rule == "tooth_numbering_is_confirmed":
        return {"tooth_numbering": "universal"}
    if cause.rule in ("row_is_shown", "column_is_shown"):
        return {"hidden": "read"}
    if cause.rule in IDENTIFIER_RULES and cause.column:
        return {"cleared": {cause.table: [cause.column]}}
    if cause.rule == "value_is_a_level" and cause.column in proposed.get("levels", {}):
        return {"levels": {cause.column: proposed["levels"][cause.column]}}
    if cause.rule == "missing_word_is_confirmed":
        return {key: words for key, words in proposed.items() if key != "levels"}
    return {}


def json_of(
    causes: Sequence[Cause], decisions: Sequence[Cause], proposed: Mapping, status: int, odd: Mapping | None = None
) -> dict:
    """As schemas/check_json.yaml describes it; `odd` as `oddities_as_json` gives it, None where no table was read."""
    return {
        "status": status,
        "problems": sum(cause.count for cause in causes),
        "causes": [{**_as_dict(cause), "remedy": cause.remedy, "paste": paste_of(cause, proposed)} for cause in causes],
        "decisions": [_as_dict(cause) for cause in decisions],
        **(odd or {"oddities": [], "accepted_keys_without_an_oddity": {}}),
    }


def oddities_as_json(
    open_ones: Sequence[Cause],
    accepted: Sequence[Cause],
    rules: Mapping[str, tuple[str, str]],
    without: Mapping[str, int],
) -> dict:
    """The oddities as schemas/check_json.yaml describes them.

    Parameters
    ----------
    open_ones, accepted : by rule, table, file and column
    rules : name -> its threshold and reason, in the order in which they are listed
    without : rule -> keys that are accepted and fit no oddity
    """
    place = {name: at for at, name in enumerate(rules)}
    told = [(cause, False) for cause in open_ones] + [(cause, True) for cause in accepted]
    told.sort(key=lambda one: (place[one[0].rule], one[1]))
    listed = [
        {
            **_as_dict(cause),
            "accepted": is_accepted,
            **dict(zip(("threshold", "reason"), rules[cause.rule], strict=True)),
        }
        for cause, is_accepted in told
    ]
    return {"oddities": listed, "accepted_keys_without_an_oddity": dict(without)}


def _as_dict(cause: Cause) -> dict:
    return {
        "rule": cause.rule,
        "table": cause.table,
        "file": cause.file,
        "column": cause.column,
        "count": cause.count,
        "told": [
            {"what": variant.words, "count": variant.count, "places": variant.places} for variant in cause.variants
        ],
    }

"""What differs, as drilled, and by other methods: the tables of differences."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from liftseries.report.comparison.compared import (
    ALL,
    AS_DRILLED,
    CRUDE,
    G_COMPUTATION,
    OUTCOMES,
    Comparison,
    Outcome,
    comparison_of,
)
from liftseries.report.comparison.sentences import cell, label, written
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count
from liftseries.report.kit.tables.cells import TRACE, Content, content_of
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.say import say

INVERSE_PROBABILITY = "inverse_probability"
BY_METHOD = (CRUDE, "overlap", INVERSE_PROBABILITY, G_COMPUTATION)
Line = Callable[[Outcome, str, float | None], tuple[str, ...]]


def secondary_table(material: Material, words: Words) -> Content | None:
    """The secondary outcomes, a line each, crude and adjusted."""
    comparison = comparison_of(material)
    return _differences(comparison, [(outcome, None) for outcome in comparison.secondary])


def outcomes_table(material: Material, words: Words) -> Content | None:
    """The primary outcome and the secondary ones, where the groups are too many for the first page."""
    comparison = comparison_of(material)
    return _differences(comparison, [(outcome, None) for outcome in (comparison.primary, *comparison.secondary)])


def _differences(comparison: Comparison, outcomes: Sequence[tuple[Outcome, float | None]]) -> Content | None:
    def line(outcome: Outcome, level: str, month: float | None) -> tuple[str, ...]:
        row = comparison.contrast(outcome, level, ALL, month)
        if row is None:
            return ("", "", "", comparison.why(outcome, level, ALL, month), "", "")
        crude = comparison.by(CRUDE, outcome, level, ALL, month)
        values = [comparison.value(outcome, one, ALL, month) for one in (comparison.reference, level)]
        keys = [trace_of(one) for one in (*values, crude, row) if one is not None]
        shown = ["" if one is None else written(outcome, one["estimate"]) for one in values]
        return (*shown, cell(outcome, crude), quoted_cell(outcome, row), count(row["n_sites"]), "; ".join(keys))

    if not comparison.compares:
        return None
    reference = comparison.named(comparison.reference)
    others = comparison.others
    of_group = comparison.named(others[0]) if len(others) == 1 else say("comparison.head_group")
    heads = ("", reference, of_group, say("comparison.head_crude"))
    heads = (*heads, say("comparison.head_adjusted"), say("comparison.head_sites"), TRACE)
    lines = list(_by_outcome(comparison, outcomes, line, len(heads)))
    return content_of(heads, lines, say("comparison.differences_note", reference=reference))


def quoted_cell(outcome: Outcome, row) -> str:
    """A quoted difference, with a star where its row has a problem, and a word where it is unadjusted."""
    star = "" if not isinstance(row["problem"], str) or not row["problem"] else " *"
    return cell(outcome, row) + star + (f" {say('comparison.unadjusted')}" if row["method"] == CRUDE else "")


def _by_outcome(
    comparison: Comparison, outcomes: Sequence[tuple[Outcome, float | None]], line: Line, width: int
) -> Iterable[tuple[str, ...]]:
    """A heading an outcome and a line a group; with one group to compare, a line an outcome."""
    others = comparison.others
    for outcome, month in outcomes:
        title = label(outcome, comparison, month)
        if len(others) == 1:
            yield (title, *line(outcome, others[0], month))
            continue
        yield (title, *[""] * (width - 1))
        for level in others:
            yield (f"   {comparison.named(level)}", *line(outcome, level, month))


def fallen_out_table(material: Material, words: Words) -> Content | None:
    """Who is left of each group where only those drilled as planned count."""
    comparison, table = comparison_of(material), material.table("comparison_fallen_out")
    if table.empty or not table["n_judged"].sum() or len(comparison.levels) < 2:
        return None
    heads = ("", *(say(f"comparison.head_{name}") for name in ("sites", "judged", "as_planned", "fallen_out")))
    names = ("n_sites", "n_judged", "n_as_planned", "n_fallen_out")
    lines = [
        (comparison.named(str(row["group"])), *(count(row[name]) for name in names)) for _, row in table.iterrows()
    ]
    return content_of(heads, lines, say("comparison.fallen_out_note"))


def as_drilled_table(material: Material, words: Words) -> Content | None:
    """Quoted differences of all sites, and of those drilled as planned."""
    comparison = comparison_of(material)
    outcomes = [one for one in (comparison.primary, *comparison.secondary) if one.name not in ("adherence", "deeper")]

    def line(outcome: Outcome, level: str, month: float | None) -> tuple[str, ...]:
        of_all, of_drilled = (comparison.contrast(outcome, level, subset) for subset in (ALL, AS_DRILLED))
        if of_drilled is None:
            told = say("comparison.not_told", why=comparison.why(outcome, level, AS_DRILLED))
        else:
            told = quoted_cell(outcome, of_drilled)
        keys = "; ".join(trace_of(one) for one in (of_all, of_drilled) if one is not None)
        n_sites = "" if of_drilled is None else count(of_drilled["n_sites"])
        return ("" if of_all is None else quoted_cell(outcome, of_all), told, n_sites, keys)

    told = [
        comparison.contrast(outcome, level, AS_DRILLED) is not None
        for outcome in outcomes
        for level in comparison.others
    ]
    if not any(told):
        return None
    heads = ("", *(say(f"comparison.head_{name}") for name in ("of_all", "of_drilled", "sites_drilled")), TRACE)
    lines = list(_by_outcome(comparison, [(outcome, None) for outcome in outcomes], line, len(heads)))
    return content_of(heads, lines, say("comparison.as_drilled_note"))


# ── supplement ──────────────────────────────────────────────────────────────────────────────────────────────


def all_outcomes(comparison: Comparison) -> list[tuple[Outcome, float | None]]:
    """Every outcome, the dated ones at each month of the plan."""
    return [
        (outcome, month)
        for outcome in OUTCOMES.values()
        for month in (comparison.survival_months if outcome.dated else (None,))
    ]


def by_method_table(material: Material, words: Words) -> Content | None:
    """Each difference by every method."""
    comparison = comparison_of(material)
    methods = [method for method in BY_METHOD if method in (CRUDE, G_COMPUTATION, *comparison.asked["weights"])]

    def line(outcome: Outcome, level: str, month: float | None) -> tuple[str, ...]:
        rows = [comparison.by(method, outcome, level, ALL, month) for method in methods]
        shown = [
            (quoted_cell(outcome, row) if row is not None and row["headline"] else cell(outcome, row)) or "–"
            for row in rows
        ]
        return (*shown, "; ".join(trace_of(row) for row in rows if row is not None))

    told = [
        one
        for one in all_outcomes(comparison)
        if any(comparison.contrast(one[0], level, ALL, one[1]) is not None for level in comparison.others)
    ]
    if not told:
        return None
    heads = ("", *(say(f"comparison.method_{method}") for method in methods), TRACE)
    return content_of(heads, list(_by_outcome(comparison, told, line, len(heads))), say("comparison.by_method_note"))


def disagreeing(comparison: Comparison) -> list[str]:
    """Differences of which g-computation lies more than a standard error from the one quoted."""
    told = []
    for outcome, month in all_outcomes(comparison):
        for level in comparison.others:
            row = comparison.contrast(outcome, level, ALL, month)
            other = comparison.by(G_COMPUTATION, outcome, level, ALL, month)
            if row is None or other is None or abs(other["estimate"] - row["estimate"]) <= row["std_error"]:
                continue
            told.append(
                say(
                    "comparison_supplement.disagrees",
                    what=label(outcome, comparison, month),
                    group=comparison.named(level),
                    one=cell(outcome, other),
                    other=cell(outcome, row),
                )
            )
    return told


def left_out_table(material: Material, words: Words) -> Content | None:
    """Sites that each outcome left out, of all sites; a site counts once, under its first reason."""
    comparison, rows = comparison_of(material), material.left_out[material.left_out["subset"].eq("all")]
    lines = [
        (label(outcome, comparison).partition(",")[0], words.reason(str(row["reason"])), count(row["n_sites"]))
        for outcome in OUTCOMES.values()
        if comparison.recorded(outcome) and outcome.name not in ("rmst", "depth_error_size")
        for _, row in rows[rows["analysis"].eq(outcome.analysis)].iterrows()
    ]
    return content_of([say(f"comparison.head_{name}") for name in ("outcome", "reason", "sites")], lines)


def balance_table(material: Material, words: Words) -> Content | None:
    """Standardised differences of each term, before and after weighting."""
    comparison = comparison_of(material)
    rows = material.rows("comparison.balance")
    rows = rows[rows["subset"].str.startswith("group=") & rows["estimate"].notna()] if len(rows) else rows
    methods = [method for method in BY_METHOD if len(rows) and rows["method"].eq(method).any()]
    lines: list[tuple[str, ...]] = []
    for level in comparison.others:
        of_level = rows[rows["subset"].eq(f"group={level}")]
        if of_level.empty:
            continue
        lines.append((comparison.named(level), *[""] * (len(methods) + 1)))
        for term in dict.fromkeys(of_level["term"]):
            of = {row["method"]: row for _, row in of_level[of_level["term"].eq(term)].iterrows()}
            shown = (written_smd(of.get(method)) for method in methods)
            keys = "; ".join(trace_of(row) for row in of.values())
            lines.append((f"   {term_named(words, term)}", *shown, keys))
    heads = ("", *(say(f"comparison.method_{method}") for method in methods), TRACE)
    return content_of(heads, lines, say("comparison.balance_note"))


def written_smd(row) -> str:
    """Two decimals; empty where there is none."""
    return "" if row is None else f"{row['estimate']:.2f}".replace("-0.00", "0.00").replace("-", "−")


def term_named(words: Words, term: str) -> str:
    """`Residual bone height`; `Smoking: former`."""
    name, _, level = term.partition("[")
    level = {"true]": "yes", "false]": "no"}.get(level, level.removesuffix("]")).replace("_", " ")
    return words.column(name) + (f": {level}" if level else "")

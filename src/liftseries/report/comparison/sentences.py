"""Differences in words: of 100 sites, how many more or fewer; what the interval says of the difference that matters."""

from __future__ import annotations

from liftseries.report.comparison.compared import MM, MONTHS, SHARE, Comparison, Outcome
from liftseries.report.kit.numbers import decimal, missing
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say

DIGITS = {SHARE: 1, MM: 2, MONTHS: 1}


def written(outcome: Outcome, value: float) -> str:
    """A number on the outcome's scale, shares of 100."""
    return decimal(100 * value if outcome.scale == SHARE else value, DIGITS[outcome.scale])


def cell(outcome: Outcome, row) -> str:
    """`3.1 (−1.3 to 7.4)`; empty where there is no row."""
    if row is None or missing(row["estimate"]):
        return ""
    if missing(row["conf_low"]):
        return written(outcome, row["estimate"])
    value, low, high = (written(outcome, row[name]) for name in ("estimate", "conf_low", "conf_high"))
    return f"{value} ({low} to {high})"


def label(outcome: Outcome, comparison: Comparison, month: float | None = None) -> str:
    """`Perforated, of 100 sites`."""
    if outcome.dated:
        return say(f"comparison.label_{outcome.name}", month=comparison.month if month is None else month)
    return say(f"comparison.label_{outcome.name}")


def in_sentence(outcome: Outcome, comparison: Comparison) -> str:
    """`sites with a perforation`."""
    holes = {"month": comparison.month} if outcome.dated else {}
    return say(f"comparison.what_{outcome.name}", **holes)


def sized(outcome: Outcome, value: float) -> str:
    """`3.1 more`; `0.07 mm less`."""
    size = written(outcome, abs(value))
    way = "more" if value >= 0 else "fewer" if outcome.scale == SHARE else "less"
    return say(f"comparison.size_{outcome.scale}_{way}", n=size)


def margin_in_words(outcome: Outcome, margin: float) -> str:
    """`5 of 100 sites`."""
    value = f"{100 * margin:g}" if outcome.scale == SHARE else f"{margin:g}"
    return say(f"comparison.margin_{outcome.scale}", n=value)


def difference(outcome: Outcome, comparison: Comparison, level: str, row) -> str:
    """A quoted difference in a sentence, with its interval and both groups' numbers where they have one."""
    low, high = (sized(outcome, row[name]) for name in ("conf_low", "conf_high"))
    holes = {"group": comparison.named(level), "reference": comparison.named(comparison.reference)}
    values = [comparison.value(outcome, one, row["subset"]) for one in (level, comparison.reference)]
    known = all(value is not None for value in values)
    name = "difference_of_values" if known else "difference"
    if known:
        holes |= {
            "of_group": written(outcome, values[0]["estimate"]),
            "of_reference": written(outcome, values[1]["estimate"]),
        }
    what = in_sentence(outcome, comparison)
    size = sized(outcome, row["estimate"])
    return say(f"comparison.{name}", what=what, size=size, low=low, high=high, **holes)


def verdict(row, margin: float | None, words: Words) -> tuple[str, str]:
    """What an interval says: the sentence's name, and the problem that keeps it open, where it has one."""
    low, high = row["conf_low"], row["conf_high"]
    if not missing(row["problem"]) and row["problem"]:
        return "open_problem", words.problem(str(row["problem"]))
    apart = low > 0 or high < 0
    if margin is None:
        return ("differs_alone" if apart else "open_alone"), ""
    if low >= margin or high <= -margin:
        return "settled", ""
    if -margin < low and high < margin:
        return "none", ""
    return ("differs" if apart else "open"), ""

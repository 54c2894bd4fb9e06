"""The size of the next study in words, for `liftseries size`."""

from __future__ import annotations

import math
import textwrap

from liftseries.planning.sample_size import FEWEST_PATIENTS, SURE, SampleSize
from liftseries.planning.simulated import RATE, SimulatedFrom

MANY_NOT_FITTED = 0.05
CAUTION = (
    "This is the width of an interval, not the power of a test, and it holds for patients, sites, operators and "
    "risks like this study's. Patients whose outcome stays unknown come on top."
)


def sample_size_text(
    of: str, within: float, study: SimulatedFrom, answer: SampleSize, others: list[SampleSize | None]
) -> str:
    """The answer, how sure it is, where it comes from and what to mind.

    Parameters
    ----------
    of : RATE or a term
    within : half-width, a share for the rate, else log odds
    study, answer : what was simulated from, and what came of it
    others : the same with the perforation rate at either end of this study's own interval; None
        where there is no answer
    """
    sought = of_what(of, within)
    rates = " or ".join(f"{rate:.1%}" for rate in study.rate_interval)
    otherwise = " or ".join(at_most(other.n_patients) if other else "no answer for" for other in others)
    error = answer.monte_carlo_error
    lines = [
        f"Next study, for a 95 % interval of {sought}",
        f"  {at_most(answer.n_patients)} patients (Monte Carlo error ± {error:.0f}): the mean interval is so narrow; "
        f"{answer.share_within:.0%} of the simulated studies have one",
        f"  {at_most(answer.n_patients_sure)} patients (± {answer.monte_carlo_error_sure:.0f}): "
        f"{SURE:.0%} of the simulated studies have one",
        f"  {otherwise} patients in the mean, were the true perforation rate {rates}, "
        "the ends of this study's interval",
        "",
        "  patients  fitted  mean half-width",
    ]
    for rung in answer.ladder.itertuples():
        lines.append(f"  {rung.n_patients:8d}  {rung.n_fitted:6d}  {in_words(of, rung.half_width)}")
    lines += ["", *(textwrap.fill(words, 116, subsequent_indent="  ") for words in remarks(of, study, answer))]
    return "\n".join(lines) + "\n"


def of_what(of: str, within: float) -> str:
    """`the perforation rate within ± 2 percentage points`."""
    return f"{'the perforation rate' if of == RATE else of} within ± {in_words(of, within)}"


def in_words(of: str, half_width: float) -> str:
    """A half-width with its unit; of log odds the factor of the odds ratio too."""
    if of == RATE:
        return f"{100 * half_width:.3g} percentage points"
    return f"{half_width:.3g} log odds (odds ratio × or ÷ {math.exp(half_width):.3g})"


def at_most(n_patients: int) -> str:
    """The number; of the smallest that is tried, that it may be fewer."""
    return f"at most {n_patients}" if n_patients == FEWEST_PATIENTS else str(n_patients)


def remarks(of: str, study: SimulatedFrom, answer: SampleSize) -> list[str]:
    """Where the numbers come from, and what to mind."""
    n_sites, rate = len(study.risk), study.risk.mean()
    words = [
        f"Simulated from this study: {study.n_patients} patients with {n_sites} sites, {rate:.1%} of them perforated, "
        f"correlation of a patient's sites {study.alpha:.2f}; its own interval is ± {in_words(of, study.half_width)}."
    ]
    if answer.share_not_fitted > 0:
        words.append(
            f"{answer.share_not_fitted:.1%} of the simulated studies of that size had no interval (too few "
            "perforations, or a level that nobody had) and count for nothing above."
        )
    if answer.share_not_fitted > MANY_NOT_FITTED:
        words.append("MIND: those that can be fitted are the luckier ones, so the true number is larger.")
    words += [f"MIND: {caution}." for caution in study.cautions]
    return [*words, CAUTION]

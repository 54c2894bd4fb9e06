"""Each operator's cases in their order: CUSUM, its limits by simulation, and what to expect of it.

`up` looks for odds times `audit.odds_ratio`, `down` for odds divided by it. Every year counts, whatever the period.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.remarks import joined, remark
from liftseries.estimators.cusum import Limit, cusum_path, limit_of, maxima, run_length, scores, sequence_of, signals_of
from liftseries.estimators.intervals import NotFitted
from liftseries.models.audit.case_mix import CaseMix
from liftseries.models.audit.units import ONE_VIEW, Audited, audited, simulated, stream
from liftseries.models.shared.results import Estimates, Fit, results_table

ANALYSIS = "audit.cusum"
UP, DOWN = "up", "down"
OPERATOR, CASE_NO = "operator", "operator_case_no"
SCALES = {
    "limit": "log_likelihood_ratio",
    "achieved_false_alarm": "probability",
    "expected_signals": "count",
    "run_length": "cases",
    "first_signal": "cases",
    "signals": "count",
    "final": "log_likelihood_ratio",
}
FEWEST_DRAWS = 5000
LONGEST = 20  # times `cusum_cases`: so far a run is followed
COLUMNS = "unit case site_id expected perforated up down observed_less_expected signal"
BAND = "unit case low high"
BAND_ENDS = (0.025, 0.975)
MOST_BAND = 400  # cases; no chart shows more


@dataclass(frozen=True)
class CusumEstimates(Estimates):
    """The charts in numbers.

    Attributes
    ----------
    charts : COLUMNS, a row a case, audit/cusum.csv
        `case` counts the cases charted; `up` and `down` before any new start; `signal`: up, down, `up down` or "".
    bands : BAND, a row a case
        Between what 95 of 100 courses in control have of tears observed less expected after each case.
    """

    charts: pd.DataFrame
    bands: pd.DataFrame


@dataclass(frozen=True)
class Settings:
    """What the plan asks of a CUSUM; see schemas/plan.yaml."""

    odds_ratio: float
    false_alarm: float
    cusum_cases: int
    n_draws: int
    seed: int

    @property
    def ratios(self) -> dict[str, float]:
        """Method -> odds ratio looked for."""
        return {UP: self.odds_ratio, DOWN: 1 / self.odds_ratio}


@dataclass(frozen=True)
class Charted:
    """An operator's cases in order; shape (n,) each.

    Attributes
    ----------
    site_id, patient
    event : true/false
    expected : q
    """

    site_id: np.ndarray
    patient: np.ndarray
    event: np.ndarray
    expected: np.ndarray


def fit_audit_cusum(
    cases: pd.DataFrame,
    by: str,
    centre: str,
    standard: float | None,
    case_mix: Sequence[str],
    odds_ratio: float,
    false_alarm: float,
    cusum_cases: int,
    limits: Mapping[str, Mapping[str, float]],
    expected: Mapping[str, Mapping],
    resamples: int,
    seed: int,
) -> CusumEstimates:
    """CUSUM charts of operators.

    Parameters
    ----------
    cases : one row a site, as `cases()` gives it
    by, centre, standard, expected : see `audited`
    case_mix : terms of the expected risk
    odds_ratio, false_alarm, cusum_cases, limits : see schemas/plan.yaml
    resamples, seed : how often courses are drawn (at least 5000 times), and from where random numbers start

    Returns
    -------
    CusumEstimates
        The terms of SCALES in the methods `up` and `down`, an operator each.

    Source: Steiner and others 2000, doi:10.1093/biostatistics/1.4.441; limits by simulation as the contract has them.
    """
    audit = audited(cases, by, (), centre, standard, expected)
    mix = CaseMix(audit, case_mix)
    settings = Settings(odds_ratio, false_alarm, cusum_cases, max(resamples, FEWEST_DRAWS), seed)
    rows, charts, bands = [], [], []
    for number, name in enumerate(audit.names):
        fit = Fit(ANALYSIS, audit.subset(name), "", "", **audit.counts(audit.members(number)))
        try:
            charted = charted_cases(audit, mix, number)
        except NotFitted as why:
            rows += [row for method in (UP, DOWN) for row in _empty(fit, method, SCALES, str(why))]
            continue
        counts = (len(charted.event), len(pd.unique(charted.patient)), int(charted.event.sum()))
        kept = {str(unit): of_unit for unit, of_unit in limits.items()}.get(name, {})
        told, paths, band = _unit_rows(charted, settings, kept, name, audit.correlation, (fit.subset, *counts))
        rows += told
        charts.append(_chart(name, charted, paths))
        bands.append(band)
    tables = {"charts": _stacked(charts, COLUMNS), "bands": _stacked(bands, BAND)}
    return CusumEstimates(results_table(rows), audit.left_out(ANALYSIS), **tables)


def _stacked(tables: Sequence[pd.DataFrame], columns: str) -> pd.DataFrame:
    """The units' rows one under another."""
    names = columns.split()
    return pd.concat(tables, ignore_index=True)[names] if tables else pd.DataFrame(columns=names)


def charted_cases(audit: Audited, mix: CaseMix, number: int) -> Charted:
    """A unit's cases in the order of the operator's count, ties by site.

    Raises
    ------
    NotFitted
        The units are no operators, or too few events, cases or numbers to chart.
    """
    if audit.by != OPERATOR:
        raise NotFitted(remark("not_by_operator"))
    if why := audit.why_not(ONE_VIEW):
        raise NotFitted(why)
    members = audit.members(number)
    if not members.any():
        raise NotFitted(remark("no_site"))
    case_no = case_numbers(audit.table)
    members = members & np.isfinite(case_no)
    if not members.any():
        raise NotFitted(remark("no_case_number"))
    expected = mix.risks(number)
    members = members & mix.used
    if not members.any():
        raise NotFitted(remark("no_complete_case_with_perforation"))
    rows = np.flatnonzero(members)
    site_id = audit.table["site_id"].iloc[rows].astype(str).to_numpy(object)
    order = np.lexsort((site_id.astype(str), case_no[rows]))
    rows = rows[order]
    return Charted(site_id[order], audit.patient[rows], audit.event[rows], expected[rows])


def case_numbers(table: pd.DataFrame) -> np.ndarray:
    """The operator's running count of each site, NaN where it is not known; shape (n,)."""
    if CASE_NO not in table:
        return np.full(len(table), np.nan)
    return table[CASE_NO].to_numpy(float, na_value=np.nan)


def _unit_rows(
    charted: Charted, settings: Settings, kept: Mapping[str, float], name: str, rho: float, place: tuple
) -> tuple[list[dict], dict, pd.DataFrame]:
    """The rows of a unit in both directions, its paths: method -> (S, signals), and its rows of BAND."""
    random = stream(settings.seed, ANALYSIS, name)
    own = sequence_of(charted.expected, charted.patient)
    of_limit = sequence_of(charted.expected, charted.patient, settings.cusum_cases)
    longest = sequence_of(charted.expected, charted.patient, LONGEST * settings.cusum_cases)
    drawn = of_limit.drawn(random, settings.n_draws, rho)
    in_control = own.drawn(random, settings.n_draws, rho)
    rows, paths = [], {}
    subset, *counts = place
    for method, ratio in settings.ratios.items():
        limit = Limit(float(kept[method]), 0.0) if method in kept else None
        if limit is None:
            limit = limit_of(maxima(drawn, of_limit.expected, ratio), settings.false_alarm)
        score = scores(charted.event, charted.expected, ratio)
        path = cusum_path(score, np.inf if np.isnan(limit.value) else limit.value)
        paths[method] = path
        fit = Fit(ANALYSIS, subset, "", method, *counts)
        if np.isnan(limit.value):
            rows += _empty(fit, method, [term for term in SCALES if term != "final"], remark("no_limit"))
            rows.append(fit.row("final", float(path[0][-1]), scale=SCALES["final"], headline=True))
            continue
        most = LONGEST * settings.cusum_cases
        chance = Chance(
            signals=signals_of(in_control, own.expected, ratio, limit.value),
            length=run_length(longest, ratio, limit.value, most, random, settings.n_draws, rho),
            most=most,
        )
        rows += _rows(fit, limit, method in kept, chance, path)
    return rows, paths, _band(name, charted, in_control)


def _band(name: str, charted: Charted, in_control: np.ndarray) -> pd.DataFrame:
    """Where observed less expected lies in control; `in_control` is shape (n, n_draws)."""
    case = np.linspace(1, len(in_control), min(len(in_control), MOST_BAND)).round().astype(int)
    # Counts, and row by row: short integers sort several times as fast as numbers with a fraction.
    observed = in_control.astype(np.min_scalar_type(len(in_control)))
    for so_far, and_this in itertools.pairwise(observed):
        and_this += so_far
    observed = np.sort(observed[case - 1], axis=1, kind="stable")
    at = np.array(BAND_ENDS) * (observed.shape[1] - 1)
    below, above = observed[:, np.floor(at).astype(int)], observed[:, np.ceil(at).astype(int)]
    low, high = (below + at % 1 * (above - below)).T - np.cumsum(charted.expected)[case - 1]
    return pd.DataFrame({"unit": name, "case": case, "low": low, "high": high})


@dataclass(frozen=True)
class Chance:
    """What simulated courses did.

    Attributes
    ----------
    signals : shape (n_draws,), how often S reaches the limit in control, with a new start after each time
    length : median cases to a signal at changed odds, and its Monte Carlo error
    most : how far a run was followed
    """

    signals: np.ndarray
    length: tuple[float, float]
    most: int


def _rows(fit: Fit, limit: Limit, kept: bool, chance: Chance, path: tuple[np.ndarray, np.ndarray]) -> list[dict]:
    """The rows of one direction; `path` is S and where it signals."""
    n, false = len(chance.signals), float((chance.signals > 0).mean())

    def row(term: str, value: float, *notes: str) -> dict:
        return fit.row(term, float(value), scale=SCALES[term], note=joined(*notes), headline=True)

    s, signal = path
    capped = remark("run_length_capped", n_cases=chance.most) if chance.length[0] >= chance.most else ""
    first = np.flatnonzero(signal)
    return [
        row("limit", limit.value, remark("kept_limit") if kept else simulated(n, limit.error)),
        row("achieved_false_alarm", false, simulated(n, np.sqrt(false * (1 - false) / n))),
        row("expected_signals", chance.signals.mean(), simulated(n, chance.signals.std(ddof=1) / np.sqrt(n))),
        row("run_length", chance.length[0], simulated(n, chance.length[1]), capped),
        row("first_signal", first[0] + 1)
        if len(first)
        else fit.row("first_signal", scale=SCALES["first_signal"], problem=remark("no_signal")),
        row("signals", signal.sum()),
        row("final", 0.0 if signal[-1] else s[-1]),
    ]


def _empty(fit: Fit, method: str, terms, why: str) -> Iterator[dict]:
    for term in terms:
        yield fit.row(term, scale=SCALES[term], method=method, problem=why)


def _chart(name: str, charted: Charted, paths: Mapping[str, tuple[np.ndarray, np.ndarray]]) -> pd.DataFrame:
    """A unit's rows of audit/cusum.csv."""
    signal = [" ".join(method for method in (UP, DOWN) if paths[method][1][t]) for t in range(len(charted.event))]
    return pd.DataFrame(
        {
            "unit": name,
            "case": np.arange(1, len(charted.event) + 1),
            "site_id": charted.site_id,
            "expected": charted.expected,
            "perforated": charted.event,
            "up": paths[UP][0],
            "down": paths[DOWN][0],
            "observed_less_expected": np.cumsum(charted.event - charted.expected),
            "signal": signal,
        }
    )

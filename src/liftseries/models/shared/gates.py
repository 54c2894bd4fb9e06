"""How many events a statement needs: below its gate a number stays in results.csv and is no headline.

    0 events     a bound alone
    1 to 4       no ratio, no diagnostics, no prediction, no E-value
    5 to 9       one term, penalised
    from 10      as many terms as a fifth of the events
    from 20      the spline, proportional hazards
    from 500     the models whose errors need many events (GEE, Cox) speak instead of the penalised ones

Survival at a month is quoted while 20 implants, and a tenth of all, are at risk.

Source: five events a term: Vittinghoff and McCulloch 2007, doi:10.1093/aje/kwk052; the rest is common practice, no
source, and what the coverage study bears out (tests/benchmarks/coverage.py).
"""

import math

import numpy as np

from liftseries.base.remarks import remark

RATIO, MANY_TERMS, SPLINE, EVALUE = 5, 10, 20, 20
MANY_EVENTS = 500  # from here on an unpenalised model's errors hold
EVENTS_A_TERM = 5
FEWEST_AT_RISK, SHARE_AT_RISK = 20, 0.1
FEWEST_MEASUREMENTS = 5  # of a mean
LOW_DESIGN_EFFECT, LARGE_DESIGN_EFFECT = 0.5, 1.5  # from the latter on a release tells it as 2, else as 1


def terms_allowed(n_events: int) -> int:
    """How many coefficients, the constant aside, a model of so many events may have."""
    if n_events < RATIO:
        return 0
    return 1 if n_events < MANY_TERMS else n_events // EVENTS_A_TERM


def ratio_gate(n_events: int, n_terms: int) -> str:
    """Why the ratios of a model are no headline, as a remark; "" where they may be.

    Parameters
    ----------
    n_events
    n_terms : coefficients of the model, the constant aside
    """
    allowed = terms_allowed(n_events)
    if allowed == 0:
        return remark("below_gate_no_ratio", n_events=n_events)
    if n_terms > allowed:
        return remark("below_gate_terms", n_events=n_events, n_allowed=allowed, n_terms=n_terms)
    return ""


def at_risk_gate(n_at_risk: int, n_implants: int) -> str:
    """Why survival at a month is no headline, as a remark; "" where it may be."""
    return "" if n_at_risk >= fewest_at_risk(n_implants) else remark("below_gate_at_risk", n_at_risk=n_at_risk)


def fewest_at_risk(n_implants: int) -> int:
    """How many of so many implants must be at risk at a month of which survival is told."""
    return max(FEWEST_AT_RISK, math.ceil(SHARE_AT_RISK * n_implants))


def last_month_told(months: np.ndarray) -> float:
    """The last month at which enough implants are at risk, of follow-up of shape (n,); NaN where there is none."""
    fewest = fewest_at_risk(len(months))
    return float(np.sort(months)[-fewest]) if len(months) >= fewest else float("nan")


def diagnostics_gate(n_events: int) -> str:
    """Why a model of events is not looked into over time, as a remark; "" where it may be."""
    return "" if n_events >= SPLINE else remark("below_gate_diagnostics", n_events=n_events)

"""Which printed number goes with which count: the rule table of the masking.

| numbers | go where |
|---|---|
| a count | the protection withholds it, the ledger does not know it, or knows another value |
| a share | its numerator or denominator goes |
| mean and standard deviation | their count goes, or fewer patients than the smallest cell stand behind them |
| a median; quartiles | the same, and below 2 or 4 times as many patients: so many lie on either side |
| smallest and largest values, single cases, rows set aside | always: each is one record |
| an estimate that is an exact function of counts | one of those counts goes |
| a model's coefficient | its level or the reference has too few patients with an event, or without one |
| a model's intercept, a risk or curve from a model, its calibration | its number of events goes, too |
| survival after a month | fewer patients than the smallest cell are still followed then |
| degrees of freedom | the number of patients goes: they are worked out from it |

What stays is rounded to three significant digits, so that nobody reads a count off the far digits.
"""

from __future__ import annotations

from dataclasses import dataclass

SIGNIFICANT_DIGITS = 3
MEDIAN_NEEDS, QUARTILES_NEED = 2, 4  # times the smallest cell: so many patients lie below and above; our convention


@dataclass(frozen=True)
class Rule:
    """When some of a row's numbers go.

    Attributes
    ----------
    numbers : the columns
    counts : they go where one of these counts does
    behind : how many times the smallest cell of patients must stand behind them
    given_away : they go where a count does that can be worked out from them
    """

    numbers: tuple[str, ...]
    counts: tuple[str, ...] = ()
    behind: int = 0
    given_away: bool = False


@dataclass(frozen=True)
class TableRules:
    """The counts of a table, and what goes with them."""

    counts: tuple[str, ...]
    rules: tuple[Rule, ...] = ()


RULES: dict[str, TableRules] = {
    "flow": TableRules(("n_patients", "n_sites")),
    "characteristics": TableRules(
        ("n", "n_known", "n_missing"),
        (
            Rule(("share",), ("n", "n_known")),
            Rule(("mean", "sd"), ("n", "n_known"), behind=1),
            Rule(("median",), ("n", "n_known"), behind=MEDIAN_NEEDS),
            Rule(("q1", "q3"), ("n", "n_known"), behind=QUARTILES_NEED),
        ),
    ),
    "missing": TableRules(("n", "n_missing", "n_not_applicable"), (Rule(("share",), ("n", "n_missing")),)),
    "deviations": TableRules(("n_sites", "n_true"), (Rule(("share",), ("n_sites", "n_true")),)),
    "complications": TableRules(("n_sites", "n_patients", "n_asked"), (Rule(("share",), ("n_sites", "n_asked")),)),
    "life_table": TableRules(
        ("n_entering", "n_censored", "n_failed"),
        (
            Rule(("n_effective",), ("n_entering", "n_censored")),
            Rule(("risk",), ("n_entering", "n_censored", "n_failed")),
            Rule(("survival", "std_error", "conf_low", "conf_high"), given_away=True),
        ),
    ),
    "survival_at_risk": TableRules(("n_at_risk", "n_failed", "n_censored")),
    "gain_variances": TableRules(("n_visits",), (Rule(("patient_sd_mm", "site_sd_mm", "residual_sd_mm"), behind=1),)),
    "gain_by_visit": TableRules(("n",), (Rule(("mean", "sd"), behind=1),)),
    "perforation_imputation": TableRules(("n_missing",)),
    "survival_imputation": TableRules(("n_missing",)),
    "left_out": TableRules(("n_sites",)),
    "survival_curves": TableRules((), (Rule(("survival", "conf_low", "conf_high"), behind=1, given_away=True),)),
    "results": TableRules(
        ("n_sites", "n_patients", "n_events"),
        (
            Rule(("estimate", "std_error", "conf_low", "conf_high", "p_value"), behind=1, given_away=True),
            Rule(("df",), ("n_patients", "n_events"), behind=1, given_away=True),
        ),
    ),
}

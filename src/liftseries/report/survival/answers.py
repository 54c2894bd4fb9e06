"""What the first page answers of this outcome."""

from __future__ import annotations

import pandas as pd

from liftseries.models.shared.gates import RATIO
from liftseries.report.kit.blocks import Answer
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import WITHHELD, exponent, interval, is_few, is_withheld, ratio
from liftseries.report.kit.sentences import first, small, source
from liftseries.report.languages.say import say
from liftseries.report.survival.follow_up import value_of
from liftseries.report.survival.sentences import (
    at_months,
    is_bound,
    n_at_risk,
    n_failures,
    quoted_hazards,
    quoted_survival,
    term_words,
)


def survival(material: Material) -> Answer | None:
    """Survival at the months of the plan at which it is quoted."""
    km = material.rows("survival.km", "all")
    row = first(km)
    if row is None or not row["n_sites"] or not material.has_visits:
        return None
    rows, n = quoted_survival(material), n_failures(material)
    people = {"implants": row["n_sites"], "patients": row["n_patients"]}
    if rows.empty:
        if km["problem"].eq(WITHHELD).any():
            if not is_withheld(n) or is_few(n):
                told = say("survival.page_one_counts", failures=n, under=_under(n, row["n_sites"]), **people)
                return Answer(say("survival.answer_survival"), told)
            return Answer(say("survival.answer_survival"), say("survival.withheld_all"))
        text = (
            say("survival.page_one_short", failures=n, **people) if n else say("survival.page_one_short_none", **people)
        )
        return Answer(say("survival.answer_survival"), text)
    month = rows["term"].iloc[-1]
    shares = at_months(rows)
    if n:
        text = say("survival.page_one", shares=shares, failures=n, **people)
    else:
        text = say("survival.page_one_none", shares=shares, **people)
    bound = any(is_bound(one) for _, one in rows.iterrows())
    sure = say("survival.sure_bound" if bound else "survival.sure", at_risk=n_at_risk(material, month), month=month)
    sources = "; ".join(source(one) for _, one in rows.iterrows())
    return Answer(say("survival.answer_survival"), text, sure, sources)


def _under(n_failures: int, n_sites: int) -> str:
    """`, under 17.2%`, where fewer than a number of implants have failed; else nothing."""
    few = is_few(n_failures) and n_sites > -n_failures
    return say("survival.under", share=-n_failures / n_sites) if few else ""


def failure(material: Material) -> Answer | None:
    """What goes with failure: the quoted hazard ratios; where there are none, that failures are too few."""
    n = n_failures(material)
    if n is None or not material.has_visits:
        return None
    rows = quoted_hazards(material)
    if len(rows):
        return _associations(material, rows)
    if is_withheld(n) and not (is_few(n) and -n <= RATIO):
        return None
    counted = value_of(material, "followup.failures", "all")
    trace = "" if counted is None else source(counted)
    if not n:
        text = say("survival.page_one_none_failed")
    else:
        text = say("survival.page_one_too_few" if n < RATIO else "survival.page_one_no_ratio", failures=n)
    return Answer(say("survival.answer_failure"), text, source=trace)


def _associations(material: Material, rows: pd.DataFrame) -> Answer:
    """The terms whose interval leaves out 1, and the ratios of all."""
    words, row = material.words, rows.iloc[0]
    ratios = "; ".join(
        say("survival.ratio", term=term_words(one, words), numbers=_ratio(one)) for _, one in rows.iterrows()
    )
    apart = rows[rows["conf_low"].gt(0) | rows["conf_high"].lt(0)]
    if len(rows) == 1:
        name = "associated_alone" if len(apart) else "not_associated_alone"
        term = small(words.column(str(row["term"]).partition("[")[0]))
        compared = words.term(row["term"], str(row["note"]))[len(term) :].lstrip(":, ")
        text = say(f"survival.{name}", term=term, numbers=" ".join(filter(None, [compared, _ratio(row)])))
    elif len(apart):
        text = say("survival.associated", terms=[_named(one, material) for _, one in apart.iterrows()], ratios=ratios)
    else:
        text = say("survival.not_associated", ratios=ratios)
    penalised = row["analysis"] == "survival.firth_cox"
    sure = say(
        "survival.sure_hazard" if penalised else "survival.sure_hazard_many",
        failures=row["n_events"],
        implants=row["n_sites"],
    )
    sources = "; ".join(source(one) for _, one in rows.iterrows())
    return Answer(say("survival.answer_failure"), text, sure, sources)


def _ratio(row) -> str:
    return interval(*(exponent(row[name]) for name in ("estimate", "conf_low", "conf_high")), ratio)


def _named(row, material: Material) -> str:
    """`residual bone height`; `smoking (current against never)`."""
    name, _, level = str(row["term"]).partition("[")
    column = small(material.words.column(name))
    if not level:
        return column
    levels = material.words.term(row["term"], str(row["note"])).partition(": ")[2]
    return say("survival.term_of_level", column=column, levels=levels)

"""How often the membrane tore, in sentences: the rows that are quoted, and what could not be said."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.models.shared.design import INTERCEPT
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by
from liftseries.report.kit.numbers import (
    count,
    counted,
    interval,
    listed,
    missing,
    p_value,
    percent,
    share_of,
)
from liftseries.report.kit.sentences import adjusted, first, open_direction, size_of, small, source, why_no_ratio
from liftseries.report.kit.words import BANDS, Words

SHARES_BY = (*BANDS, "approach", "protocol", "centre")
HEIGHTS = {"rbh_mid_mm": "perforation.risk", "protrusion_mm": "perforation.risk_lift"}
NO_CUT_POINTS = (
    "No cut-point of bone height is offered. A cut-point says that a site just below it differs from one just above "
    "and that all sites on one side are alike; chosen from the data it moves from sample to sample, makes the "
    "difference look larger than it is and the p-value smaller. The curve shows what a cut-point would hide; bands, "
    "if wanted, are those that the plan named beforehand."
)
USABLE_C, USABLE_SLOPE = 0.8, (0.9, 1.1)  # what a model should reach before it is tried on new patients; our convention


def quoted_odds(material: Material) -> pd.DataFrame:
    """The odds ratios that are quoted, a row a term, the intercept aside."""
    rows = material.quoted("perforation.firth", "perforation.gee")
    return rows[~rows["term"].eq(INTERCEPT)]


def is_bound(row) -> bool:
    """Whether a share has a bound of one side alone."""
    return "one_sided_bound" in names_in(row["note"])


def share_words(row) -> str:
    """`7.3% (5.4% to 9.7%)`; `at most 9.5%` where nothing was seen; nothing where there is no interval."""
    if missing(row["estimate"]) or missing(row["conf_low"]):
        return ""
    if is_bound(row):
        return (
            f"at most {percent(row['conf_high'])}" if row["estimate"] == 0 else f"at least {percent(row['conf_low'])}"
        )
    return interval(row["estimate"], row["conf_low"], row["conf_high"], percent)


def rate_sentence(material: Material) -> Paragraph | None:
    """How often the membrane tore."""
    rows = material.rows("perforation.rate", "all")
    row = first(rows[made_by(rows, "patients") & rows["estimate"].notna()])
    if row is None:
        return None
    seen = f"The membrane was perforated at {count(row['n_events'])} of {count(row['n_sites'])} sites where it is known"
    numbers = share_words(row)
    if not numbers:
        return Paragraph(f"{seen}; there is no interval: {row['problem']}.", source(row, row["method"]))
    if is_bound(row):
        text = f"{seen}: {numbers}, a 95% bound of one side in which each patient counts once."
        return Paragraph(text, source(row, row["method"]))
    alone = "one_patient_has_the_outcome" in names_in(row["note"])
    how = "the exact interval of one patient among all" if alone else "patients as clusters"
    narrow = "narrow_by_clustering" in names_in(row["note"])
    warned = (
        " The interval is narrower than that of independent sites would be: read it with caution." if narrow else ""
    )
    return Paragraph(f"{seen}: {numbers}, {how}.{warned}", source(row, row["method"]))


def shares_by(material: Material) -> Iterable[Block]:
    """A sentence a column: the share at each of its levels."""
    rates = material.rows("perforation.rate")
    rates = rates[made_by(rates, "patients")]
    for column in SHARES_BY:
        rows = rates[rates["subset"].str.startswith(f"{column}=")]
        unit = " mm" if column in BANDS else ""
        told = [
            f"{row['subset'].partition('=')[2].replace('_', ' ')}{unit} {share_of(row['n_events'], row['n_sites'])}"
            for _, row in rows.iterrows()
        ]
        if told:
            name = BANDS.get(column) or material.words.column(column)
            yield Paragraph(f"By {small(name)}: {'; '.join(told)}.", f"perforation.rate · {column}=… · rate · patients")


def model_sentence(material: Material) -> Iterable[Block]:
    """What the quoted odds ratios rest on; where there are none, or not of all terms, what was not possible."""
    quoted = quoted_odds(material)
    whole = material.rows("perforation.firth", "all")
    whole = whole[made_by(whole, "profile_or_jackknife") & ~whole["term"].eq(INTERCEPT)]
    if len(quoted):
        row = quoted.iloc[0]
        yield Paragraph(
            f"The odds ratios rest on {counted(row['n_events'], 'perforation')} in "
            f"{counted(row['n_sites'], 'site')} of {counted(row['n_patients'], 'patient')}; {adjusted(quoted)}."
        )
    names = [small(material.words.term(row["term"], str(row["note"]))) for _, row in whole.iterrows()]
    lacking = [name for name, term in zip(names, whole["term"], strict=True) if term not in set(quoted["term"])]
    why = why_no_ratio(whole[~whole["term"].isin(quoted["term"])], material.words, "perforation", "sites")
    if lacking and why:
        what = f"No odds ratio is given of {listed(lacking)}" if len(quoted) else "No odds ratio is given"
        yield Paragraph(f"{what}: {why}.")


def risk_sentences(material: Material, words: Words) -> Iterable[Block]:
    """The risk at both ends of the plan's contrasts of height and lift."""
    for column, analysis in HEIGHTS.items():
        ends = material.asked["risk_contrasts"].get(column, ())
        rows = material.quoted(analysis)
        of_term = {row["term"]: row for _, row in rows.iterrows()}
        told = [of_term[f"{end:g}"] for end in ends if not isinstance(end, str) and f"{end:g}" in of_term]
        if told:
            numbers = [
                f"{row['term']} mm {interval(row['estimate'], row['conf_low'], row['conf_high'], percent)}"
                for row in told
            ]
            yield Paragraph(
                f"Modelled risk by {small(words.column(column))}, the other terms as they are in the series: at "
                f"{', at '.join(numbers)}.",
                "; ".join(source(row) for row in told),
            )


def risk_difference_sentences(material: Material, words: Words) -> Iterable[Block]:
    """A sentence a contrast of the plan, per 100 sites."""
    for _, row in material.quoted("perforation.risk_difference").iterrows():
        size, more = size_of(row)
        text = (
            f"{words.contrast(row['term'])}: the modelled risk is {size} per 100 sites {'higher' if more else 'lower'}"
        )
        yield Paragraph(text + open_direction(row["conf_low"], row["conf_high"], 0.0) + ".", source(row))


def bend_sentences(material: Material, words: Words) -> Iterable[Block]:
    """Whether the risk is non-linear along residual height and planned lift."""
    told = [
        f"{small(words.column(row['term']))} p {p_value(row['p_value'])}"
        for _, row in material.quoted("perforation.nonlinearity").iterrows()
    ]
    if told:
        yield Paragraph(
            f"Non-linearity, tested against a straight line on the logit: {listed(told)}. A large p does not say that "
            "the line is straight.",
            "perforation.nonlinearity",
        )


def validation_sentences(material: Material) -> Iterable[Block]:
    """How well the model predicts, and what that means for using it."""
    rows = material.quoted("perforation.validation")
    of_term = {row["term"]: row for _, row in rows[rows["subset"].eq("all")].iterrows()}
    if not {"c_statistic", "calibration_slope"} <= set(of_term):
        return
    c, slope = of_term["c_statistic"], of_term["calibration_slope"]
    usable = c["estimate"] >= USABLE_C and USABLE_SLOPE[0] <= slope["estimate"] <= USABLE_SLOPE[1]
    advice = (
        "It may be worth trying on patients of other centres; until that is done it is no tool for a patient."
        if usable
        else "Do not use it to tell a patient's risk: it describes this series and tells sites apart too poorly."
    )
    yield Paragraph(
        f"As a predictor, corrected for optimism, the model has a c statistic of "
        f"{interval(c['estimate'], c['conf_low'], c['conf_high'])} and a calibration slope of "
        f"{interval(slope['estimate'], slope['conf_low'], slope['conf_high'])}. {advice}",
        source(c),
    )

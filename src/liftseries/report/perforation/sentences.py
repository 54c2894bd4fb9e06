"""How often the membrane tore, in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by
from liftseries.report.kit.numbers import interval, listed, p_value, percent, share_of
from liftseries.report.kit.sentences import first, open_direction, size_of, small, source
from liftseries.report.kit.words import Words

MODELS = ("perforation.gee", "perforation.firth")  # the one that is read, and its penalised form where events are few
NO_CUT_POINTS = (
    "No cut-point of bone height is offered. A cut-point says that a site just below it differs from one just above "
    "and that all sites on one side are alike; chosen from the data it moves from sample to sample, makes the "
    "difference look larger than it is and the p-value smaller. The curve shows what a cut-point would hide; bands, "
    "if wanted, are those that the plan named beforehand."
)
USABLE_C, USABLE_SLOPE = 0.8, (0.9, 1.1)  # what a model should reach before it is tried on new patients; our convention


def rate_sentence(material: Material) -> Paragraph | None:
    """How often the membrane tore."""
    rows = material.rows("perforation.rate", "all")
    row = first(rows[rows["method"].eq("cluster") & rows["estimate"].notna()])
    row = row if row is not None else first(rows[rows["method"].eq("exact") & rows["estimate"].notna()])
    if row is None:
        return None
    numbers = interval(row["estimate"], row["conf_low"], row["conf_high"], percent)
    crude = share_of(row["n_events"], row["n_sites"]).replace(" (", " sites where it is known (")
    kind = "with sites clustered in patients" if row["method"] == "cluster" else "sites taken as independent"
    text = f"The membrane was perforated at {crude}; the rate is {numbers}, {kind}."
    return Paragraph(text, source(row, row["method"]))


def bend_sentences(material: Material, words: Words) -> Iterable[Block]:
    """Whether the risk bends along residual height and planned lift."""
    rows = material.rows("perforation.nonlinearity")
    told = [
        f"{small(words.column(row['term']))} p {p_value(row['p_value'])}"
        for _, row in rows[rows["estimate"].notna()].iterrows()
    ]
    if told:
        yield Paragraph(
            f"Whether the risk follows a bent line rather than a straight one on the logit: {listed(told)}. A large p "
            "does not say that the line is straight.",
            "perforation.nonlinearity",
        )


def risk_difference_sentences(material: Material, words: Words) -> Iterable[Block]:
    """A sentence a contrast of the plan, per 100 sites."""
    rows = material.rows("perforation.risk_difference")
    for _, row in rows[rows["estimate"].notna()].iterrows():
        size, more = size_of(row)
        text = f"{words.contrast(row['term'])}: {size} {'more' if more else 'fewer'} perforations per 100 sites"
        yield Paragraph(text + open_direction(row["conf_low"], row["conf_high"], 0.0) + ".", source(row))


def validation_sentences(material: Material) -> Iterable[Block]:
    """How well the model predicts, and what that means for using it."""
    rows = material.rows("perforation.validation", "all")
    corrected = rows[made_by(rows, "optimism_corrected") & rows["estimate"].notna()]
    of_term = {row["term"]: row for _, row in corrected.iterrows()}
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

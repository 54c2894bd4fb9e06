"""What bone was gained and where the marginal bone lies, in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.gain.quoted import CHANGE, GAIN, MARGINAL, is_difference, month_of, quoted_row
from liftseries.report.gain.tables import STABILITY, bound
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import counted, decimal, interval, is_withheld, listed, missing, percent
from liftseries.report.kit.quoted import quoted_in
from liftseries.report.kit.sentences import compared, open_direction, size_of, source
from liftseries.report.kit.words import Words


def gain_sentence(material: Material) -> Paragraph | None:
    """How much bone was gained at a year, and how that changes."""
    mean, change = quoted_row(material, GAIN, "mean at 12"), quoted_row(material, GAIN, CHANGE)
    told = []
    if mean is not None:
        told.append(f"The mean bone gain at 12 months was {_mm(mean)} ({counted(mean['n_sites'], 'site')})")
    if change is not None:
        told.append(_changed(change, "bone gain", ("rose", "fell")))
    rows = [row for row in (mean, change) if row is not None]
    if not rows:
        return None
    return Paragraph(f"{'; '.join(told)}.", "; ".join(source(row) for row in rows))


def marginal_sentences(material: Material) -> Iterable[Paragraph]:
    """How far below the platform the marginal bone lay, how that changes, and how often it lay far below."""
    rows = quoted_in(material.rows(MARGINAL, "all"))
    means = rows[rows["term"].str.startswith("mean at ")]
    if len(means):
        told = [
            f"{_mm(row)} at {month_of(row['term']):g} months ({counted(row['n_sites'], 'site')})"
            for _, row in means.iterrows()
        ]
        text = f"On average the marginal bone lay {listed(told)} below the platform"
        change = quoted_row(material, MARGINAL, CHANGE)
        if change is not None:
            text += f"; {_changed(change, 'it', ('sank', 'rose'))}"
            means = rows[rows["term"].str.startswith("mean at ") | rows["term"].eq(CHANGE)]
        yield Paragraph(f"{text}.", "; ".join(source(row) for _, row in means.iterrows()))
    shares = rows[rows["term"].str.startswith("beyond ")]
    if len(shares):
        told = [f"{_share(row)} at {month_of(row['term']):g} months" for _, row in shares.iterrows()]
        limit = shares["term"].iloc[0].split()[1]
        text = f"More than {limit} mm below the platform it lay at {listed(told)}."
        yield Paragraph(text, "; ".join(source(row) for _, row in shares.iterrows()))


def _mm(row) -> str:
    """`3.50 mm (3.31 to 3.69)`."""
    numbers = interval(row["estimate"], row["conf_low"], row["conf_high"])
    return numbers.replace(" (", " mm (", 1) if "(" in numbers else f"{numbers} mm"


def _changed(row, what: str, ways: tuple[str, str]) -> str:
    numbers, larger = size_of(row)
    way = ways[0] if larger else ways[1]
    text = f"along a straight line {what} {way} by {numbers.replace(' (', ' mm (', 1)} per year"
    return text + open_direction(row["conf_low"], row["conf_high"], 0.0).replace(";", ",", 1)


def _share(row) -> str:
    """`7 of 402 sites (1.7%, 0.8% to 3.6%)`."""
    if missing(row["std_error"]) and row["estimate"] in (0, 1):
        share = bound(row)
    else:
        share = f"{percent(row['estimate'])}, {percent(row['conf_low'])} to {percent(row['conf_high'])}"
    if is_withheld(row["n_events"]) or is_withheld(row["n_sites"]):
        return f"{share} of the sites"
    return f"{row['n_events']:g} of {counted(row['n_sites'], 'site')} ({share})"


def differences(material: Material, words: Words) -> Iterable[Paragraph]:
    """What the terms of the two models say; the change per year is told with the means."""
    outcomes = {
        GAIN: ("bone gain", ("larger", "smaller")),
        MARGINAL: ("the distance of the marginal bone below the platform", ("larger", "smaller")),
    }
    for analysis, (outcome, ways) in outcomes.items():
        rows = quoted_in(material.rows(analysis, "all"))
        for _, row in rows[is_difference(rows["term"]) & rows["term"].ne(CHANGE)].iterrows():
            numbers, larger = size_of(row)
            told = numbers.replace(" (", " mm (", 1)
            text = f"{compared(row, words, outcome)} {told} {ways[0] if larger else ways[1]}"
            text += ", adjusted for the other terms" + open_direction(row["conf_low"], row["conf_high"], 0.0) + "."
            if analysis == GAIN and str(row["term"]).startswith("graft["):
                text += " The graft was chosen, not allotted, and on a radiograph it may pass for bone."
            yield Paragraph(text[0].upper() + text[1:], source(row))


def stability_sentence(material: Material) -> Paragraph | None:
    """How firmly the implants stood at placement."""
    names = {"stability.torque": "insertion torque was {} N cm", "stability.isq": "stability quotient was {}"}
    rows = [quoted_row(material, analysis, "mean") for analysis in STABILITY]
    rows = [row for row in rows if row is not None]
    if not rows:
        return None
    told = [
        "the mean "
        + names[row["analysis"]].format(interval(row["estimate"], row["conf_low"], row["conf_high"], _one_decimal))
        + f" ({counted(row['n_sites'], 'site')})"
        for row in rows
    ]
    text = f"At placement {listed(told)}."
    return Paragraph(text, "; ".join(source(row) for row in rows))


def _one_decimal(value: float) -> str:
    return decimal(value, 1)

"""What bone was gained, where the marginal bone lies and how firmly implants stood, in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.models.gain.marginal import FAR_MM
from liftseries.report.gain.quoted import (
    BEYOND,
    GAIN,
    ISQ,
    MARGINAL,
    MEAN,
    TORQUE,
    change_of,
    direction,
    mm,
    month_of,
    quoted_at_months,
    quoted_of_levels,
    quoted_row,
    with_unit,
)
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, decimal, interval, missing, percent
from liftseries.report.kit.sentences import source
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

MARGINAL_WAYS = {"rises": "gain.marginal_sinks", "falls": "gain.marginal_rises", "either": "gain.marginal_either"}
BETWEEN = {
    "patient_sd_mm": "gain.between_patients",
    "site_sd_mm": "gain.between_sites",
    "residual_sd_mm": "gain.between_measurements",
}


def gain_sentence(material: Material) -> Paragraph | None:
    """What bone gain is, how much there was and how it changes; None where none was measured."""
    means, change = quoted_at_months(material, GAIN, MEAN), change_of(material, GAIN)
    told = [
        say(
            "gain.gain_at",
            month=f"{month_of(row['term']):g}",
            mean=mm(row),
            sites=row["n_sites"],
            patients=row["n_patients"],
        )
        for row in means
    ]
    if change is not None:
        way, size = direction(change)
        told.append(say(f"gain.gain_{way}", size=size))
    rows = [*means, *([] if change is None else [change])]
    return paragraph(say("gain.gain_is"), told, rows) if rows else None


def marginal_sentence(material: Material) -> Paragraph | None:
    """How far below the platform the marginal bone lay, how that changes, and how often it lay far below."""
    means, shares = quoted_at_months(material, MARGINAL, MEAN), quoted_at_months(material, MARGINAL, BEYOND)
    change = change_of(material, MARGINAL)
    told = [say("gain.marginal_at", means=means_below(means))] if means else []
    if change is not None:
        way, size = direction(change)
        told.append(say(MARGINAL_WAYS[way], size=size))
    if shares:
        told.append(say("gain.far", limit=f"{FAR_MM:g}", shares=[_far(row) for row in shares]))
    rows = [*means, *([] if change is None else [change]), *shares]
    return paragraph(say("gain.marginal_is"), told, rows) if rows else None


def means_below(rows: list) -> list[str]:
    """`0.64 mm (0.60 to 0.67) below the platform at 12 months (465 sites)`, the others without the platform."""
    names = ["gain.mean_at", *["gain.mean_at_too"] * len(rows)]
    return [
        say(name, mean=mm(row), month=f"{month_of(row['term']):g}", sites=row["n_sites"])
        for name, row in zip(names, rows, strict=False)
    ]


def _far(row) -> str:
    """`none of 465 sites at 12 months (at most 0.9%)`."""
    at = {"sites": row["n_sites"], "month": f"{month_of(row['term']):g}"}
    if missing(row["std_error"]) and row["estimate"] in (0, 1):
        none = row["estimate"] == 0
        return say("gain.far_none" if none else "gain.far_all", bound=row["conf_high" if none else "conf_low"], **at)
    share = interval(row["estimate"], row["conf_low"], row["conf_high"], percent)
    return say("gain.far_some", events=count(row["n_events"]), share=share.replace(" (", ", ", 1).rstrip(")"), **at)


def stability_sentence(material: Material) -> Paragraph | None:
    """How firmly the implants stood at placement, of all and by bone quality."""
    told, rows = [], []
    for analysis, name in ((TORQUE, "gain.torque"), (ISQ, "gain.isq")):
        row = quoted_row(material, analysis, "mean")
        if row is None:
            continue
        levels = quoted_of_levels(material, analysis, "bone_quality")
        levels = levels if len(levels) > 1 else []
        rows += [row, *(of_level for _, of_level in levels)]
        mean = interval(row["estimate"], row["conf_low"], row["conf_high"], _one_decimal)
        of_all = {"mean": with_unit(mean, "N cm") if analysis == TORQUE else mean, "sites": row["n_sites"]}
        parts = [
            say(f"gain.in_quality{'_too' if place else ''}", mean=_one_decimal(of_level["estimate"]), level=level)
            for place, (level, of_level) in enumerate(levels)
        ]
        told.append(say(f"{name}_by", levels=parts, **of_all) if parts else say(name, **of_all))
    return paragraph("", told, rows) if rows else None


def graft_sentence(material: Material) -> Paragraph | None:
    """That grafts were chosen, where the model of the gain compares them."""
    rows = material.quoted(GAIN)
    if not rows["term"].astype(str).str.startswith("graft[").any():
        return None
    return Paragraph(say("gain.graft_chosen"))


def scatter_sentence(writer: Writer) -> Paragraph | None:
    """How much the gain scatters around the model; None where no visit entered it."""
    table = writer.material.table("gain_variances")
    if table.empty or not table["n_visits"].iloc[0]:
        return None
    row = table.iloc[0]
    parts = [say(name, sd=row[column]) for column, name in BETWEEN.items() if not missing(row[column])]
    if not parts:
        return None
    told = [say("gain.scatter", parts=parts, visits=row["n_visits"])]
    alike = writer.place("supplement", "clustering")
    icc = writer.material.rows("measurement.icc")
    if alike and (icc["term"].eq("gain_mm") & icc["estimate"].notna()).any():
        told.append(say("gain.scatter_no_correlation", where=alike.text))
    return paragraph("", told, [])


def paragraph(first: str, told: Iterable[str], rows: Iterable) -> Paragraph:
    """Sentences in one paragraph, with the rows that they come from."""
    return Paragraph(" ".join(filter(None, (first, *told))), "; ".join(source(row) for row in rows))


def _one_decimal(value: float) -> str:
    return decimal(value, 1)

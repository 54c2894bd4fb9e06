"""What the first page answers of bone."""

from __future__ import annotations

from liftseries.models.shared.gates import fewest_at_risk
from liftseries.report.gain.quoted import GAIN, MARGINAL, MEAN, change_of, direction, mm, month_of, quoted_at_months
from liftseries.report.gain.sentences import means_below
from liftseries.report.kit.blocks import Answer
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import is_withheld
from liftseries.report.kit.sentences import source
from liftseries.report.languages.say import say


def bone(material: Material) -> Answer | None:
    """Gain at 12 months and its change; marginal bone at the first and the last month with enough sites."""
    gains, levels = (_of_enough(material, analysis) for analysis in (GAIN, MARGINAL))
    levels = [levels[0], levels[-1]] if len(levels) > 1 else levels
    if not gains and not levels:
        return None
    told, rows = [], [*gains, *levels]
    for mean in gains:
        at = {"month": f"{month_of(mean['term']):g}", "mean": mm(mean), "sites": mean["n_sites"]}
        change = change_of(material, GAIN)
        if change is None:
            told.append(say("gain.answer_gain", **at))
            continue
        way, size = direction(change)
        told.append(say(f"gain.answer_gain_{way}", size=size, **at))
        rows.insert(len(gains), change)
    if levels:
        told.append(say("gain.answer_marginal", means=means_below(levels)))
    return Answer(say("gain.answer_lead"), " ".join(told), _sure(material, gains, levels), "; ".join(map(source, rows)))


def _of_enough(material: Material, analysis: str) -> list:
    """The means at months that 20 sites, and a tenth of all ever measured, stand behind."""
    means = quoted_at_months(material, analysis, MEAN)
    most = max([_ever_measured(material, analysis), *(int(row["n_sites"]) for row in means)])
    return [row for row in means if is_withheld(row["n_sites"]) or row["n_sites"] >= fewest_at_risk(most)]


def _sure(material: Material, gains: list, levels: list) -> str:
    """How many of the sites ever measured stand behind the first mean of the gain, or the last of the marginal bone."""
    row, total = (gains[0], GAIN) if gains else (levels[-1], MARGINAL)
    total = _ever_measured(material, total)
    if is_withheld(row["n_sites"]) or total < row["n_sites"]:
        return say("gain.sure_image") if gains else ""
    name = "gain.sure_measured" if gains else "gain.sure_marginal"
    return say(name, sites=row["n_sites"], total=total, month=f"{month_of(row['term']):g}")


def _ever_measured(material: Material, analysis: str) -> int:
    """Sites of which a measurement entered the model; 0 where it was not fitted, below where they are withheld."""
    change = change_of(material, analysis)
    return 0 if change is None else int(change["n_sites"])

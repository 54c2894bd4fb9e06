"""What could change the answers, and how alike sites are, in sentences."""

from __future__ import annotations

import pandas as pd

from liftseries.base.remarks import BETWEEN
from liftseries.models.sensitivity.lost import BEST, WORST
from liftseries.models.sensitivity.second_opinion import TOLD
from liftseries.models.shared.gates import LOW_DESIGN_EFFECT
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import missing
from liftseries.report.kit.sentences import small, source
from liftseries.report.languages.say import say
from liftseries.report.sensitivity.quoted import design_effects, lost_implants, lost_rows
from liftseries.report.sensitivity.tables import NOTHING_TO_COMPARE

OUTCOMES = {
    "perforation": "perforation",
    "survival": "implant failure",
    "gain": "bone gain",
    "bone": "marginal bone level",
}
CHANGE = "change per year"
SAME_EFFECT = 0.005  # two decimals print them alike


def lost_sentence(material: Material) -> Paragraph | None:
    """How far the implants lost to follow-up could move survival at the last month quoted."""
    months = lost_rows(material)
    if not months:
        return None
    month, cases = list(months.items())[-1]
    best, worst = cases.get(BEST), cases[WORST]
    if best is None or missing(best["estimate"]) or missing(worst["estimate"]):
        return None
    lost = lost_implants(cases.get("tipping_point"))
    if lost == 0:
        return None
    text = say("sensitivity.lost", lost=lost, month=f"{month:g}", best=best["estimate"], worst=worst["estimate"])
    return Paragraph(text, "; ".join((source(best), source(worst))))


def opinion_sentence(material: Material, file: str) -> Paragraph | None:
    """How far the answers of other libraries lie from the report's, and why."""
    rows = material.table("second_opinion")
    rows = rows[~rows["problem"].fillna("").eq(NOTHING_TO_COMPARE) & rows["estimate_difference"].notna()]
    if rows.empty:
        return None
    told = [
        say("sensitivity.libraries", libraries=sorted(set(rows["library"])), questions=rows["analysis"].nunique()),
        _apart(rows["estimate_difference"], "equal", "apart"),
    ]
    differ = rows[rows["error_difference"].fillna(0).ge(TOLD)]
    reasons = [reason for cell in differ["reason"].dropna() for reason in str(cell).split(BETWEEN) if reason]
    if rows["error_difference"].notna().any():
        told.append(_apart(rows["error_difference"], "errors_equal", "errors_apart", "; ".join(dict.fromkeys(reasons))))
    return Paragraph(" ".join([*told, say("sensitivity.see_file", table=file)]))


def _apart(differences: pd.Series, equal: str, apart: str, reasons: str = "") -> str:
    largest = float(differences.max())
    if largest < TOLD:
        return say(f"sensitivity.{equal}")
    holes = {"reasons": reasons} if reasons else {}
    name = f"sensitivity.{apart}" if reasons or apart == "apart" else "sensitivity.errors_unexplained"
    return say(name, share=relative(largest), **holes)


def relative(share: float) -> str:
    """`0.34%`, with two digits."""
    return f"{100 * share:.2g}%"


def effects_sentence(material: Material) -> Paragraph | None:
    """What the design effects of the quoted estimates are, and which of them are an alarm."""
    rows = design_effects(material)
    if rows.empty or rows["effect"].max() - rows["effect"].min() < SAME_EFFECT:
        return None
    told = [say("sensitivity.effects", low=rows["effect"].min(), high=rows["effect"].max())]
    low = rows[rows["effect"] < LOW_DESIGN_EFFECT]
    if len(low):
        which = [
            say("sensitivity.effect_of", what=_named(row, material), effect=row["effect"]) for _, row in low.iterrows()
        ]
        told.append(say("sensitivity.alarm", limit=f"{LOW_DESIGN_EFFECT:g}", which=which))
        told += [say("sensitivity.alarm_change")] if low["term"].eq(CHANGE).any() else []
        told += [say("sensitivity.alarm_few")] if low["term"].ne(CHANGE).any() else []
    return Paragraph(" ".join(told), "; ".join(source(row) for _, row in low.iterrows()))


def _named(row, material: Material) -> str:
    outcome = OUTCOMES.get(row["analysis"].partition(".")[0], row["analysis"].partition(".")[0])
    term = CHANGE if row["term"] == CHANGE else small(material.words.term(str(row["term"]), str(row["note"])))
    return f"{outcome}, {term}"

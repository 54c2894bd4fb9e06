"""What the first page answers of the membrane."""

from __future__ import annotations

from liftseries.report.kit.blocks import Answer
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import percent
from liftseries.report.kit.sentences import first, source
from liftseries.report.languages.say import say
from liftseries.report.perforation.sentences import (
    bound_of,
    is_bound,
    is_open,
    limits,
    n_series,
    odds_per_mm,
    odds_words,
    of_one_patient,
    of_sites,
    quoted_odds,
    risks_at_ends,
    risks_in_words,
    share_row,
    share_words,
)


def tears(material: Material) -> Answer | None:
    """How often the membrane was perforated."""
    row = share_row(material)
    if row is None:
        return None
    if not share_words(row):
        text = say("perforation.answer_alone", sites=of_sites(row, n_series(material)))
    elif is_bound(row):
        text = say("perforation.answer_bound", sites=of_sites(row), n_patients=row["n_patients"], bound=bound_of(row))
    else:
        share, low, high = map(percent, limits(row))
        text = say(
            "perforation.answer_share",
            sites=of_sites(row),
            n_patients=row["n_patients"],
            share=share,
            low=low,
            high=high,
        )
    sure = "sure_none" if row["n_events"] == 0 else "sure_one_patient" if of_one_patient(row) else "sure_share"
    return Answer(say("perforation.lead_share"), text, say(f"perforation.{sure}"), source(row))


def by_height(material: Material) -> Answer | None:
    """The quoted odds ratio per mm of residual bone height, and the risks of the same fit."""
    row, risks = odds_per_mm(material), risks_at_ends(material)
    model = row if row is not None else first(quoted_odds(material))
    if model is None or (row is None and not risks):
        return None
    holes = {"n_sites": model["n_sites"]}
    holes |= {"ratio": odds_words(row)} if row is not None else {}
    holes |= {"risks": risks_in_words(risks)} if risks else {}
    name = "answer_height" if len(holes) == 3 else "answer_height_alone" if row is not None else "answer_risks_alone"
    sure = "sure_open" if row is not None and is_open(row) else "sure_height"
    return Answer(
        say("perforation.lead_height"),
        say(f"perforation.{name}", **holes),
        say(f"perforation.{sure}", n_events=model["n_events"]),
        "; ".join(map(source, ([row] if row is not None else []) + risks)),
    )

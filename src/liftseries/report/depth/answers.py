"""What the first page answers of this outcome."""

from __future__ import annotations

from liftseries.report.depth.sentences import adherence_row, ends, n_left_out, share_told, sources
from liftseries.report.kit.blocks import Answer
from liftseries.report.kit.material import Material
from liftseries.report.kit.sentences import source
from liftseries.report.languages.say import say


def adherence(material: Material) -> Answer | None:
    """How the drilling ended, and how many sites were drilled as planned."""
    ended, kept = material.quoted("depth.ended"), adherence_row(material)
    told, cited = [], []
    if len(ended):
        told.append(say("depth.answer_ended", sites=ended["n_sites"].iloc[0], ends=ends(ended)))
        cited.append(sources(ended))
    if kept is not None:
        told.append(say("depth.answer_kept", n=kept["n_events"], sites=kept["n_sites"], share=share_told(kept)))
        cited.append(source(kept))
    if not told:
        return None
    n_unjudged = n_left_out(material, "depth.adherence")
    sure = say("depth.answer_sure_unjudged", sites=n_unjudged) if n_unjudged else say("depth.answer_sure")
    return Answer(say("depth.answer_lead"), " ".join(told), sure, "; ".join(cited))

"""What stands in the supplement beside the outcomes: sites left out, and what was imputed."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count
from liftseries.report.kit.sentences import small
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

# What is left out is told of what the report quotes: subject -> its analyses, the first that left a site out.
QUOTED = {
    "closing.of_share_torn": ("perforation.rate",),
    "closing.of_torn_terms": ("perforation.firth", "perforation.gee"),
    "closing.of_ended": ("depth.ended",),
    "closing.of_survival": ("survival.km", "follow_up"),
    "closing.of_failed_terms": ("survival.firth_cox", "survival.cox"),
    "closing.of_gain": ("gain.mixed",),
    "closing.of_marginal": ("bone.marginal",),
}
IMPUTED = {"closing.model_torn": "perforation_imputation", "closing.model_failed": "survival_imputation"}
ONCE_A = {"patient": "closing.imputed_of_patient", "site": "closing.imputed_of_site"}


def left_out(writer: Writer) -> Iterable[Block]:
    """Sites that analyses left out and why, what was imputed; the files that have the whole."""
    material = writer.material
    told = [*filter(None, (left_out_of(material, name, analyses) for name, analyses in QUOTED.items()))]
    told += filter(None, (imputed(material, model, table) for model, table in IMPUTED.items()))
    if told:
        yield Paragraph(" ".join([*told, say("closing.left_out_files")]))


def left_out_of(material: Material, subject: str, analyses: Iterable[str]) -> str:
    """How many sites the first of these analyses that has any left out, and why."""
    rows = material.left_out[material.left_out["subset"].eq("all")]
    for analysis in analyses:
        here = rows[rows["analysis"].eq(analysis)]
        reasons = [
            say(
                "closing.left_out_reason",
                sites=count(row["n_sites"]),
                reason=small(material.words.reason(str(row["reason"]))),
            )
            for _, row in here.iterrows()
        ]
        if reasons:
            return say("closing.left_out", subjects=say(subject), reasons=reasons)
    return ""


def imputed(material: Material, model: str, name: str) -> str:
    """Which terms, and what helps to predict them, were imputed for a model."""
    table = material.table(name)
    told = [
        say(
            ONCE_A.get(str(row["level_of"]), "closing.imputed_of_site"),
            column=small(material.words.column(row["variable"])),
            n=row["n_missing"],
        )
        for _, row in table.iterrows()
    ]
    return say("closing.imputed", model=say(model), terms=told) if told else ""

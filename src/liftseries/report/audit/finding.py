"""One finding of the first page, and what there is to decide on it: the policy's stages."""

from __future__ import annotations

from dataclasses import dataclass

from liftseries.report.kit.material import Material
from liftseries.report.languages.say import say


@dataclass(frozen=True)
class Decision:
    """What a committee is asked to decide; `known` is how it will know that it worked."""

    what: str
    owner: str
    due: str
    known: str


@dataclass(frozen=True)
class Finding:
    """A finding of the first page."""

    lead: str
    text: str
    sure: str
    source: str
    decide: Decision | None = None


def first_stage(material: Material, unit: str, known: str, named_stage: str = "") -> Decision | None:
    """The first stage that the policy asks for; one of that name where it has it."""
    stages = material.asked["audit"]["policy"]["stages"]
    if not stages:
        return None
    stage = next((one for one in stages if str(one["name"]).lower() == named_stage.lower()), stages[0])
    return Decision(
        say("audit_page.decide_what", stage=stage["name"], unit=unit),
        stage["who"],
        say("audit_page.within", days=int(stage["working_days"])),
        known,
    )


def quality(material: Material, unit: str, known: str) -> Decision | None:
    """The stage that looks at the data; the first where the policy has none of that name."""
    return first_stage(material, unit, known, say("audit.stage_quality"))

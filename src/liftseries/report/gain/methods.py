"""How bone gain is estimated: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.sentences import left_out, terms_named


def of_gain(material: Material) -> Iterable[Paragraph]:
    """The mixed model."""
    yield Paragraph(
        lead="Bone gain",
        text=(
            "Linear mixed model by restricted maximum likelihood, random intercepts for the patient and for "
            f"the site within the patient. Terms: {terms_named(material, 'gain_terms')}."
            + left_out(material, "gain.mixed")
        ),
    )

"""How bone gain is estimated: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.sentences import left_out, terms_named
from liftseries.report.kit.writer import Writer


def of_gain(writer: Writer) -> Iterable[Paragraph]:
    """The mixed model."""
    material = writer.material
    yield Paragraph(
        lead="Bone gain",
        text=(
            "Linear mixed model by restricted maximum likelihood, random intercepts for the patient and for "
            f"the site within the patient. Terms: {terms_named(material, 'gain_terms')}. The variance is that of the "
            "patients' sandwich times K / (K - 1), K patients, never below the model's own; it holds where patients "
            "differ in their course, which the model's does not. The mean at 12 months is that of the "
            "sites measured within three months of it, each once, with the variance of the patients' sums."
            + left_out(material, "gain.mixed")
        ),
    )
    yield Paragraph(
        lead="Marginal bone, torque and stability",
        text=(
            "The marginal bone level is modelled as bone gain is, on months and healing. Its mean, and the share more "
            "than 2 mm below the platform, take each site's measurement nearest to a month, at most three months away; "
            "like those of torque and stability quotient they count sites, with the variance of the patients' sums."
            + left_out(material, "bone.marginal")
        ),
    )

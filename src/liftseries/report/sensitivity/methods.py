"""How it is asked what could change the answers: paragraphs of the methods."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.writer import Writer


def of_sensitivity(writer: Writer) -> Iterable[Paragraph]:
    """How alike sites are, unmeasured causes, overlooked tears, implants lost to follow-up."""
    yield Paragraph(
        lead="How alike sites are",
        text=(
            "Intraclass correlations from one-way variance components, with limits from F that are exact for groups "
            "of any size (Wald 1940; in equal groups Shrout and Fleiss 1979, doi:10.1037/0033-2909.86.2.420), that of "
            "the perforation by leaving patients out; of the bone gain also from all visits by restricted maximum "
            "likelihood. A design effect is the variance of a clustered estimate over that of independent sites."
        ),
    )
    yield Paragraph(
        lead="What could change the answers",
        text=(
            "E-values: VanderWeele and Ding 2017, doi:10.7326/M16-2607. Shares of tears seen: the rate over that "
            "share (Rogan and Gladen 1978, doi:10.1093/oxfordjournals.aje.a112510), none seen that was not there. "
            "Implants lost to follow-up at the month or at an earlier one of the plan: all lasting, all failing right "
            "after their last visit, and the share at which survival falls to the lower limit of the interval. An "
            "implant not yet due stays as observed."
        ),
    )

"""The comparison's report and supplement, as declared."""

from __future__ import annotations

from liftseries.report.closing import declarations as closing
from liftseries.report.comparison import declarations as comparison
from liftseries.report.kit.declarations import Document, Purpose

REPORT = Document(
    name="report",
    title="",
    prefix="",
    chapters=(comparison.ANSWERS, comparison.GROUPS, comparison.DIFFERS, comparison.AS_DRILLED),
)
SUPPLEMENT = Document(
    name="supplement",
    title="Supplement",
    prefix="S",
    chapters=(
        comparison.CHECKLIST,
        comparison.METHODS,
        comparison.BALANCE,
        comparison.BY_METHOD,
        comparison.LEFT,
        closing.VERSIONS,
        closing.INDEX,
    ),
)
PURPOSE = Purpose(
    name="comparison",
    notices=(
        "For research. This report is not a medical device and gives no advice for a patient in the chair.",
        "Nothing was randomised: a difference is associated with a group, and is not shown to be its effect.",
        "Small numbers mislead: read every difference with its interval.",
    ),
    documents=(REPORT, SUPPLEMENT),
    further_tables=(),
    may_be_released=False,
    folder="comparison",
)

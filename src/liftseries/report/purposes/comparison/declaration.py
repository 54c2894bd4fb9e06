"""The comparison's report and supplement, as declared."""

from __future__ import annotations

from liftseries.report.closing import declarations as closing
from liftseries.report.kit.declarations import Document, Purpose

PURPOSE = Purpose(
    name="comparison",
    notices=(),
    documents=(Document("report", "", "", (closing.VERSIONS,)), Document("supplement", "Supplement", "S", (closing.INDEX,))),
    further_tables=(),
    may_be_released=False,
    folder="comparison",
)

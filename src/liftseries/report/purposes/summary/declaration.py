"""The report of one chapter, as declared."""

from __future__ import annotations

from liftseries.report.depth import declarations as depth
from liftseries.report.kit.declarations import Purpose

PURPOSE = Purpose(
    name="summary",
    first_page="liftseries.report.purposes.publication.first_page:first_page",
    chapters=(depth.CHAPTER,),
    methods=(),
    files=("summary.html", "summary.pdf"),
    may_be_released=False,
)

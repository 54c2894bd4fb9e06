"""The audit's report and supplement, as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import Chapter, Document, Purpose

PURPOSE = Purpose(
    name="audit",
    notices=("x",),
    documents=(Document("report", "", "", ()), Document("supplement", "Supplement", "S", ())),
    further_tables=(),
    may_be_released=False,
    folder="audit",
)

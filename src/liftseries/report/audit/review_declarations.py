"""The chapter and table of the cases to review, as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import SINGLE_RECORDS, Chapter, KeptIn, Table

CASES_TO_REVIEW = Table(
    name="cases_to_review",
    makes="liftseries.report.audit.review:review_table",
    caption="Cases to review one by one, the most serious first.",
    released=KeptIn(SINGLE_RECORDS, "the cases to review"),
)
REVIEW_CHAPTER = Chapter(
    id="cases_to_review",
    title="Cases to review",
    blocks=("liftseries.report.audit.review:review_blocks",),
    tables=(CASES_TO_REVIEW,),
)

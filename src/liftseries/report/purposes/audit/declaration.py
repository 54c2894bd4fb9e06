"""The audit's report and supplement, as declared."""

from __future__ import annotations

from dataclasses import replace

from liftseries.report.audit import declarations as audit
from liftseries.report.audit.review_declarations import REVIEW_CHAPTER
from liftseries.report.closing import declarations as closing
from liftseries.report.kit.declarations import Document, Purpose

REPORT = Document(
    name="report",
    title="",
    prefix="",
    chapters=(
        audit.FIRST_PAGE,
        audit.UNITS,
        audit.WHERE,
        audit.TIME,
        audit.STAGES,
        REVIEW_CHAPTER,
        audit.CYCLE,
        audit.PUBLISHED,
    ),
)
SUPPLEMENT = Document(
    name="supplement",
    title="Supplement",
    prefix="S",
    chapters=(
        audit.METHODS,
        audit.VIEWS,
        audit.FURTHER_STAGES,
        audit.BETWEEN,
        audit.INDICATORS,
        audit.CHARTS,
        audit.SERIES,
        replace(audit.LEFT_OUT, tables=(closing.LEFT_OUT,)),
        closing.VERSIONS,
        closing.INDEX,
    ),
)
PURPOSE = Purpose(
    name="audit",
    notices=(
        "For the committee alone. It holds numbers of single units and stays in the house.",
        "A flag is a reason to look, first at the data, and no judgement of anyone's work.",
    ),
    documents=(REPORT, SUPPLEMENT),
    further_tables=(audit.EVERY_STRIP,),
    may_be_released=False,
    folder="audit",
    shows_question=False,
    further_files="liftseries.report.purposes.audit.files:write_further",
)

"""What could change the answers, and how alike sites are: tables and chapters as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import NOT_COARSENED, Chapter, KeptIn, Released, Table

ROOM = "liftseries.report.sensitivity"

TABLES = (
    Table(
        name="evalues",
        makes=f"{ROOM}.tables:evalue_table",
        caption="E-values: how strong an unmeasured cause would have to be.",
        released=Released(),
    ),
    Table(
        name="detection",
        makes=f"{ROOM}.tables:detection_table",
        caption="Share of sites perforated if only a part of the perforations was seen (95% intervals).",
        released=Released(),
    ),
    Table(
        name="detection_contrast",
        makes=f"{ROOM}.tables:detection_contrast_table",
        caption="Odds ratio of a perforation by the part of the perforations seen in either group.",
        released=Released(),
    ),
    Table(
        name="lost_implants",
        makes=f"{ROOM}.tables:lost_table",
        caption="Implants in function if all that were lost to follow-up had lasted, or failed (95% intervals).",
        released=Released(),
    ),
)
CLUSTERING_TABLES = (
    Table(
        name="intraclass_correlation",
        makes=f"{ROOM}.tables:icc_table",
        caption="Intraclass correlations, of the values as measured.",
        released=Released(),
    ),
)
# A file alone: `Purpose.further_tables`.
SECOND_OPINION = Table(
    name="second_opinion",
    makes=f"{ROOM}.tables:second_opinion_table",
    caption="The same questions answered by other programs: how far their answers lie from ours.",
    released=KeptIn(NOT_COARSENED, "how far the answers of other programs lie from ours"),
)
SUPPLEMENT_CHAPTER = Chapter(
    id="sensitivity",
    title="Unmeasured causes, overlooked perforations, loss to follow-up",
    blocks=(f"{ROOM}.supplement_chapter:blocks",),
    tables=TABLES,
)
CLUSTERING_CHAPTER = Chapter(
    id="clustering",
    title="How alike the sites of a patient are",
    blocks=(f"{ROOM}.supplement_chapter:clustering",),
    tables=CLUSTERING_TABLES,
)

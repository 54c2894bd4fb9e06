"""What could change the answers: its tables and chapter as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import NOT_COARSENED, Chapter, KeptIn, Released, Table

ROOM = "liftseries.report.sensitivity"

TABLES = (
    Table(
        name="intraclass_correlation",
        makes=f"{ROOM}.tables:icc_table",
        caption="How alike the sites of a patient are: intraclass correlations.",
        released=Released(),
    ),
    Table(
        name="evalues",
        makes=f"{ROOM}.tables:evalue_table",
        caption="E-values: the risk ratio that an unmeasured cause would need with both exposure and outcome.",
        released=Released(),
    ),
    Table(
        name="detection",
        makes=f"{ROOM}.tables:detection_table",
        caption="Share of sites perforated if only a part of the tears was seen.",
        released=Released(),
    ),
    Table(
        name="detection_contrast",
        makes=f"{ROOM}.tables:detection_contrast_table",
        caption="Odds ratios if tears were seen more often in one group than in the other.",
        released=Released(),
    ),
    Table(
        name="lost_implants",
        makes=f"{ROOM}.tables:lost_table",
        caption="Implants in function if those lost to follow-up fared best or worst; one not yet due is not lost.",
        released=Released(),
    ),
    Table(
        name="second_opinion",
        makes=f"{ROOM}.tables:second_opinion_table",
        caption="The same questions answered by other programs: how far their answers lie from ours.",
        released=KeptIn(NOT_COARSENED, "how far the answers of other programs lie from ours"),
    ),
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
)

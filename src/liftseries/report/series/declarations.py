"""Who is in the study: its figures, tables and chapters as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import NOT_COARSENED, SINGLE_RECORDS, Chapter, Figure, KeptIn, Released, Table

ROOM = "liftseries.report.series"

REPORT_FIGURES = (
    Figure(
        name="flow",
        draws=f"{ROOM}.figures:draw_flow",
        reads={"flow": "flow", "set_aside": "set_aside"},
        caption="Patients and sites from what was read to what each question could use.",
        released=Released(),
    ),
)
REPORT_TABLES = (
    Table(
        name="characteristics",
        makes=f"{ROOM}.tables:characteristics_table",
        caption="Patients and sites, overall and by group.",
        released=Released(),
    ),
)
FIGURES = ()
TABLES = (
    Table(
        name="flow",
        makes=f"{ROOM}.tables:flow_table",
        caption="Patients and sites at each stage and in each analysis.",
        released=Released(),
    ),
    Table(
        name="set_aside",
        makes=f"{ROOM}.tables:set_aside_table",
        caption="Rows set aside, by table, column and rule.",
        released=KeptIn(SINGLE_RECORDS, "rows set aside"),
    ),
    Table(
        name="missing",
        makes=f"{ROOM}.tables:missing_table",
        caption="Missing values by column and centre.",
        released=Released(),
    ),
    Table(
        name="surgery",
        makes=f"{ROOM}.recorded_tables:surgery_table",
        caption="Surgery as recorded: lift methods, grafts, volumes, loading, one site or several.",
        released=Released(),
    ),
    Table(
        name="implant_sizes",
        makes=f"{ROOM}.recorded_tables:implant_sizes_table",
        caption="Implants placed, by length and diameter.",
        released=KeptIn(NOT_COARSENED, "implants by length and diameter"),
    ),
)
REPORT_CHAPTER = Chapter(
    id="series",
    title="The series",
    blocks=(f"{ROOM}.report_chapter:blocks",),
    figures=REPORT_FIGURES,
    tables=REPORT_TABLES,
)
SUPPLEMENT_CHAPTER = Chapter(
    id="characteristics-and-gaps",
    title="Characteristics, missing values and sites left out",
    blocks=(f"{ROOM}.supplement_chapter:who_is_in_it",),
    figures=FIGURES,
    tables=TABLES,
)

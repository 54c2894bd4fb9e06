"""Who is in the study: its figures, tables and chapters as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import NOT_COARSENED, SINGLE_RECORDS, Chapter, Figure, KeptIn, Released, Table

ROOM = "liftseries.report.series"
PARTS = 3  # of the whole table of characteristics: eighteen groups

REPORT_FIGURES = (
    Figure(
        name="flow",
        draws=f"{ROOM}.figures:draw_flow",
        reads={"flow": "flow", "set_aside": "set_aside", "words": "words"},
        caption="Patients and sites from what was read to what each question could use.",
        released=Released(),
        has_narrow=True,
    ),
)
REPORT_TABLES = (
    Table(
        name="characteristics",
        makes=f"{ROOM}.characteristics:characteristics_table",
        caption="Characteristics of patients and sites.",
        released=Released(),
    ),
)
FIGURES = ()
TABLES = (
    *(
        Table(
            name=f"characteristics_{unit}s" + (f"_{part + 1}" if part else ""),
            makes=f"{ROOM}.characteristics:full_table",
            caption=f"All that was described of {unit}s" + (", further groups." if part else "."),
            released=Released(),
            options={"unit": unit, "part": part},
        )
        for unit in ("patient", "site")
        for part in range(PARTS)
    ),
    Table(
        name="set_aside",
        makes=f"{ROOM}.tables:set_aside_table",
        caption="Rows set aside, by table, column and rule.",
        released=KeptIn(SINGLE_RECORDS, "rows set aside"),
    ),
    Table(
        name="corrected",
        makes=f"{ROOM}.tables:corrected_table",
        caption="Cells corrected and rows left out by hand, by table and column.",
        released=KeptIn(SINGLE_RECORDS, "cells corrected"),
    ),
    Table(
        name="oddities",
        makes=f"{ROOM}.tables:oddities_table",
        caption="What is possible but odd, by rule.",
        released=KeptIn(SINGLE_RECORDS, "entries that are possible but odd"),
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

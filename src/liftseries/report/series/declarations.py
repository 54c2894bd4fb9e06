"""Who is in the study: its figures, tables and chapters as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import NOT_COARSENED, SINGLE_RECORDS, Chapter, Figure, KeptIn, Released, Table

ROOM = "liftseries.report.series"

FIGURES = (
    Figure(
        name="flow",
        draws=f"{ROOM}.figures:draw_flow",
        reads={"flow": "flow", "set_aside": "set_aside"},
        caption="Patients and sites from what was read to what each question could use.",
        released=Released(),
    ),
    Figure(
        name="residual_height",
        draws=f"{ROOM}.figures:draw_residual_height",
        reads={"cases": "cases", "rbh_bands_mm": "plan:rbh_bands_mm"},
        caption=(
            "Residual bone height in the middle of the implant's footprint, by approach; dashed lines are the "
            "cuts of the bands."
        ),
        released=KeptIn(NOT_COARSENED, "the histogram of residual bone height"),
    ),
)
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
        name="characteristics",
        makes=f"{ROOM}.tables:characteristics_table",
        caption="Patients and sites, overall and by group.",
        released=Released(),
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
STUDIED = Chapter(id="studied", title="What was studied", blocks=f"{ROOM}.chapter:what_was_studied")
CHAPTER = Chapter(id="who", title="Who is in it", blocks=f"{ROOM}.chapter:who_is_in_it", figures=FIGURES, tables=TABLES)

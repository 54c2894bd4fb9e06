"""What bone was gained: its figures, tables and chapter as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import Chapter, Figure, Released, Table

ROOM = "liftseries.report.gain"

FIGURES = (
    Figure(
        name="gain_by_visit",
        draws=f"{ROOM}.figures:draw_gain_by_visit",
        reads={"by_visit": "gain_by_visit", "visits": "visits", "cases": "cases"},
        caption=(
            "Bone gain at the visits: every measurement, and the mean with its standard deviation at the visits "
            "nearest to placement, six months and each year."
        ),
        released=Released(
            "Bone gain: the mean with its standard deviation at the visits nearest to placement, six months and each "
            "year. Single measurements are not shown; a dash is a number withheld."
        ),
    ),
    Figure(
        name="gain_terms",
        draws=f"{ROOM}.figures:draw_gain_terms",
        reads={"gain": "results:gain.mixed", "words": "words"},
        caption="Differences in bone gain with 95% intervals, each term adjusted for the others.",
        released=Released(),
    ),
)
TABLES = (
    Table(
        name="gain_terms",
        makes="liftseries.report.kit.tables.terms:terms_table",
        caption="Differences in bone gain, mm, by term.",
        released=Released(),
        options={"analysis": "gain.mixed"},
    ),
    Table(
        name="gain_scatter",
        makes=f"{ROOM}.tables:gain_scatter_table",
        caption="Scatter of the bone gain, standard deviations.",
        released=Released(),
    ),
)
CHAPTER = Chapter(
    id="bone",
    title="What bone was gained",
    blocks=f"{ROOM}.chapter:blocks",
    figures=FIGURES,
    tables=TABLES,
)

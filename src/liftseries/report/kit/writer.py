"""The writer of a report: hands its chapters the declared figures and tables, numbered in reading order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from liftseries.base.named import function_named
from liftseries.report.kit.blocks import Block, NumberedTable, Picture, Report, Section
from liftseries.report.kit.declarations import Chapter, Purpose
from liftseries.report.kit.material import Material
from liftseries.report.kit.svg import alt_text, width_mm
from liftseries.report.kit.tables.cells import Display
from liftseries.report.kit.tables.making import make_tables


class Writer:
    """What the chapters of one report ask for figures and tables; each gets its number where it is asked for."""

    def __init__(self, purpose: Purpose, material: Material):
        self.purpose, self.material = purpose, material
        self.figures = {figure.name: figure for figure in purpose.figures}
        self.tables = make_tables(purpose.tables, material)
        self.n_figures = self.n_tables = 0

    def section(self, chapter: Chapter) -> Section:
        """A chapter as it is written."""
        title = chapter.released_title if self.material.withheld and chapter.released_title else chapter.title
        return Section(chapter.id, title, tuple(function_named(chapter.blocks)(self)))

    def figure(self, name: str) -> list[Block]:
        """A declared figure; nothing where it was not drawn."""
        path = self.material.figures.get(name)
        if path is None:
            return []
        self.n_figures += 1
        caption = self.figures[name].caption_of(released=bool(self.material.withheld))
        return [Picture(name, path, alt_text(path), caption, self.n_figures, width_mm(path))]

    def table(self, name: str) -> list[Block]:
        """A declared table; nothing where it has no rows."""
        return [self._numbered(self.tables[name])] if name in self.tables else []

    def numbered(self, name: str, caption: str, columns: Sequence[str], rows: Iterable[Sequence]) -> NumberedTable:
        """A table that stands on the page alone and is no file of its own."""
        return self._numbered(Display(name, caption, tuple(columns), tuple(tuple(map(str, row)) for row in rows)))

    def _numbered(self, display: Display) -> NumberedTable:
        self.n_tables += 1
        return NumberedTable(display, self.n_tables)


def write(purpose: Purpose, material: Material) -> Report:
    """The report of a run for a purpose.

    Parameters
    ----------
    purpose : its chapters, as declared
    material : as `read_material` gives it
    """
    writer = Writer(purpose, material)
    chapters = [chapter for chapter in purpose.chapters if material.withheld or not chapter.only_released]
    first_page = function_named(purpose.first_page)(material)
    study = material.plan["study"]
    return Report(
        title=study["title"],
        question=study["question"],
        study_id=study["id"],
        notices=first_page.notices,
        studied=first_page.studied,
        findings=first_page.findings,
        chapters=tuple(writer.section(chapter) for chapter in chapters),
        tables=writer.tables,
    )

"""The writer of a purpose: hands its chapters the declared figures and tables, labelled in reading order.

It also keeps where each row of results.csv is printed, document by document, so that the last chapter of the last
document can give an index.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from liftseries.base.named import function_named
from liftseries.report.kit.blocks import Block, LabelledTable, Picture, Place, Report, Section, Written
from liftseries.report.kit.declarations import Chapter, Document, Purpose
from liftseries.report.kit.material import Material
from liftseries.report.kit.svg import alt_text, covers, width_mm
from liftseries.report.kit.tables.cells import Display, traced
from liftseries.report.kit.tables.cut import cut
from liftseries.report.kit.tables.listing import rows_behind
from liftseries.report.kit.tables.making import MadeTables


class Writer:
    """What the chapters of a purpose ask for figures and tables; each gets its label where it is asked for.

    Attributes
    ----------
    purpose, material
    tables : name -> a declared table that has rows
    labelled : name -> those that a chapter asked for, with their labels
    document : the one that is being written
    chapters : document -> its chapters that are written, with their numbers
    empty : ids of chapters that have nothing to say of this material
    printed : row of results.csv -> where it is printed, in reading order: `Table 2`, `Figure S4`, `S7`
    """

    def __init__(self, purpose: Purpose, material: Material):
        self.purpose, self.material = purpose, material
        self.figures = {figure.name: figure for figure in purpose.figures}
        self.tables, self.labelled = MadeTables(purpose.tables, material), {}
        self.empty: set[str] = set()
        self._begin()

    def _begin(self) -> None:
        self.chapters = {document.name: self._numbers(document) for document in self.purpose.documents}
        self.document = self.purpose.documents[0]
        self.printed: dict[str, list[str]] = {}
        self.n_figures = self.n_tables = 0

    def reports(self) -> tuple[Report, ...]:
        """The documents; written again where a chapter had nothing to say, for numbers and references without it."""
        found = tuple(self.report(document) for document in self.purpose.documents)
        told = {chapter.id for report in found for chapter in report.chapters}
        empty = {name for chapters in self.chapters.values() for name in chapters} - told
        if not empty:
            return found
        self.empty |= empty
        self._begin()
        return self.reports()

    def _numbers(self, document: Document) -> dict[str, tuple[Chapter, str]]:
        """Id -> chapter and its number, of the chapters that this material has."""
        told = [chapter for chapter in document.chapters if self.material.withheld or not chapter.only_released]
        told = [chapter for chapter in told if chapter.id not in self.empty]
        numbers, k = {}, 0
        for chapter in told:
            k += chapter.numbered
            numbers[chapter.id] = (chapter, f"{document.prefix}{k}" if chapter.numbered else "")
        return numbers

    def report(self, document: Document) -> Report:
        """A document as it is written."""
        self.document, self.n_figures, self.n_tables = document, 0, 0
        study, further = self.material.plan["study"], self.purpose.released_notice if self.material.withheld else ""
        return Report(
            name=document.name,
            called=document.title,
            title=study["title"],
            question=study["question"] if self.purpose.shows_question else "",
            study_id=study["id"],
            notices=(*self.purpose.notices, *([further] if further else [])),
            chapters=tuple(filter(None, map(self._section, self.chapters[document.name]))),
            beside={other.name: other.title or "Report" for other in self.purpose.documents if other is not document},
        )

    def _section(self, name: str) -> Section | None:
        """A chapter as it is written; None where it has nothing to say."""
        chapter, number = self.chapters[self.document.name][name]
        title = chapter.released_title if self.material.withheld and chapter.released_title else chapter.title
        blocks = tuple(block for function in chapter.blocks for block in function_named(function)(self) if _says(block))
        for block in blocks:
            for told in block.items if block.kind == "answers" else (block,):
                self._note_printed(getattr(told, "source", "").split("; "), number or title)
        return Section(chapter.id, title, number, blocks) if blocks else None

    def figure(self, name: str) -> list[Block]:
        """A declared figure; nothing where it was not drawn."""
        path = self.material.figures.get(name)
        if path is None:
            return []
        self.n_figures += 1
        label = f"Figure {self.document.prefix}{self.n_figures}"
        declared = self.figures[name]
        rows = rows_behind(self.material, declared, quoted_alone=self.document is self.purpose.documents[0])
        self._note_printed(rows.keys if rows else (), label)
        of_what = f" {covers(path)}." if covers(path) else ""
        caption = declared.caption_of(released=bool(self.material.withheld)) + of_what
        narrow = self.material.narrow_figures.get(name)
        return [Picture(name, path, alt_text(path), caption, label, width_mm(path), narrow, rows)]

    def table(self, name: str) -> list[Block]:
        """A declared table; nothing where it has no rows."""
        return [self._labelled(name)] if name in self.tables else []

    def own_table(
        self, name: str, caption: str, columns: Sequence[str], rows: Iterable[Sequence], file: str = ""
    ) -> LabelledTable:
        """A table that stands on the page alone and is no file of its own; a long one is cut where `file` has it."""
        self.n_tables += 1
        display = Display(name, caption, tuple(columns), tuple(tuple(map(str, row)) for row in rows))
        display = cut(display, file) if file else display
        return LabelledTable(display, f"Table {self.document.prefix}{self.n_tables}")

    def place(self, document: str, chapter: str) -> Place | None:
        """Where a chapter stands; None where it is not there."""
        if chapter not in self.chapters[document]:
            return None
        found, number = self.chapters[document][chapter]
        return Place(document, chapter, " ".join(filter(None, (number, found.title))))

    def _labelled(self, name: str) -> LabelledTable:
        self.n_tables += 1
        label = f"Table {self.document.prefix}{self.n_tables}"
        display = self.labelled[name] = replace(self.tables[name], label=label)
        self._note_printed(traced(display), label)
        return LabelledTable(cut(display, f"tables/{name}.csv"), label)

    def _note_printed(self, keys: Iterable[str], place: str) -> None:
        for key in filter(None, keys):
            places = self.printed.setdefault(key, [])
            places += [place] if place not in places else []


def _says(block: Block) -> bool:
    """Whether anything is left of it to say."""
    return block.kind not in ("paragraph", "listing") or bool(block.text.strip())


def write(purpose: Purpose, material: Material) -> Written:
    """The documents and tables of a purpose.

    Parameters
    ----------
    purpose : its documents, as declared
    material : as `read_material` gives it
    """
    writer = Writer(purpose, material)
    reports = writer.reports()
    alone = {table.name: writer.tables[table.name] for table in purpose.further_tables if table.name in writer.tables}
    found = alone | writer.labelled
    return Written(reports, {table.name: found[table.name] for table in purpose.tables if table.name in found})

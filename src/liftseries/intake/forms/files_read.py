"""The files of a study read, each once where several tables come from it, and given to each table in its own header."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

from liftseries.intake.files.grid import SheetFault, Unreadable, is_blank
from liftseries.intake.files.read_sheet import read_sheet
from liftseries.intake.files.sheet import Sheet
from liftseries.intake.files.workbooks import title_read
from liftseries.intake.forms.mapped import mapped, no_such_word
from liftseries.intake.forms.rows import words_without_rows
from liftseries.study.forms import folded_name
from liftseries.study.plan_files import Source
from liftseries.study.reading import Reading
from liftseries.study.schema import Table

WORKBOOKS = (".xlsx", ".xlsm")


@dataclass
class _Unmet:
    """Words that are said of all files: those asked for, and those that no row has had so far."""

    reading: Reading
    asked: list[str]
    words: list[str]


@dataclass
class FilesRead:
    """What was read so far."""

    schema: Mapping[str, Table]
    tables: Mapping[str, tuple[Source, ...]]  # of the study
    _seen: dict[str, Sheet] = field(default_factory=dict)
    _told: set[tuple[Path, str]] = field(default_factory=set)  # sheets whose faults and decisions are told
    _places: dict[tuple[str, str], tuple[Path, str]] = field(default_factory=dict)
    _unmet: dict[tuple[str, str], _Unmet] = field(default_factory=dict)

    def sheets_of(self, source: Source, table: Table, reading: Reading) -> tuple[Sheet, Sheet]:
        """A table's file as it stands, and as the table's own sheet; one and the same where no form says otherwise.

        Raises
        ------
        Unreadable
            See `read_sheet`.
        """
        sharing = {name: self.schema[name] for name in self._naming(source, table)} or {table.name: table}
        sheet = self._sheet(source, table, sharing, reading)
        if len(sharing) == 1 and not _asks_for_forms(table, reading):
            return sheet, sheet
        self._note_words_of_all(sheet, table, reading)
        return sheet, mapped(sheet, table, reading, sharing)

    def _naming(self, source: Source, table: Table) -> list[str]:
        """The tables that read the very sheet, whatever name study.yaml gives it."""

        def is_it(name: str, other: Source) -> bool:
            same_label = (other.label, name) == (source.label, table.name)
            return same_label or self._place(other, name) == self._place(source, table.name)

        # Of files of one name alone a workbook is opened for it.
        of_its_name = self._by_file_name.get(source.path.name, ())
        return list(dict.fromkeys(name for name, other in of_its_name if is_it(name, other)))

    @cached_property
    def _by_file_name(self) -> dict[str, list[tuple[str, Source]]]:
        found: dict[str, list[tuple[str, Source]]] = {}
        for name in self.schema:
            for source in self.tables.get(name, ()):
                found.setdefault(source.path.name, []).append((name, source))
        return found

    def _place(self, source: Source, table: str) -> tuple[Path, str]:
        """The file, and of a workbook the title of the sheet that a table reads of it."""
        if (source.label, table) not in self._places:
            path, title = source.path.resolve(), ""
            if path.suffix.lower() in WORKBOOKS and path.is_file():
                try:
                    title = title_read(source, table)
                except (Unreadable, OSError):
                    title = f"#{table}"  # none; the reader tells of it
            self._places[source.label, table] = path, title
        return self._places[source.label, table]

    def _note_words_of_all(self, sheet: Sheet, table: Table, reading: Reading) -> None:
        """Words under `only_rows` that are said of all files, less those that a row of this one has."""
        headers = {folded_name(cell): at for at, cell in enumerate(sheet.header) if not is_blank(cell)}
        for name, words in reading.forms.only_rows.get(table.name, {}).items():
            if folded_name(name) not in reading.forms.common:
                continue
            unmet = self._unmet.setdefault((table.name, name), _Unmet(reading, list(words), list(words)))
            if (at := headers.get(folded_name(name))) is not None:
                unmet.words[:] = words_without_rows(sheet.columns[at], unmet.words)

    def words_unmet(self, table: Table) -> list[SheetFault]:
        """Words said of all files of a table that no row of any has, once all are read; none where no word was met."""
        return [
            no_such_word(unmet.reading, table.name, name, word)
            for (of, name), unmet in self._unmet.items()
            if of == table.name and len(unmet.words) < len(unmet.asked)
            for word in unmet.words
        ]

    def _sheet(self, source: Source, table: Table, naming: Mapping[str, Table], reading: Reading) -> Sheet:
        forms = reading.forms
        if source.label in self._seen:
            return self._seen[source.label]
        names = set().union(*(of.columns for of in naming.values()))
        sources = [name for of in naming for name in forms.sources(of)]
        names |= {folded_name(name) for name in (*sources, *forms.ignore)}
        sheet = read_sheet(
            source, table.name, names if len(naming) > 1 or sources else table.columns, reading.hidden, forms
        )
        if len(naming) > 1:
            place, told_once = self._place(source, table.name), replace(sheet, decisions=[], faults=[])
            sheet = told_once if place in self._told else sheet
            self._told.add(place)
            if source.sheet or source.path.suffix.lower() not in WORKBOOKS:
                self._seen[source.label] = told_once
        return sheet


def _asks_for_forms(table: Table, reading: Reading) -> bool:
    texts = [name for name in reading.levels if name in table.columns and table.columns[name].type == "text"]
    return reading.forms.changes(table.name) or bool(texts)

"""The files of a study read, each once where several tables come from it, and given to each table in its own header."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from liftseries.intake.files.sheet import Sheet, read_sheet
from liftseries.intake.forms.mapped import mapped
from liftseries.study.forms import folded_name
from liftseries.study.plan_files import Source
from liftseries.study.reading import Reading
from liftseries.study.schema import Table

WORKBOOKS = (".xlsx", ".xlsm")


@dataclass
class FilesRead:
    """What was read so far."""

    schema: Mapping[str, Table]
    tables: Mapping[str, tuple[Source, ...]]  # of the study
    _seen: dict[str, Sheet] = field(default_factory=dict)

    def sheets_of(self, source: Source, table: Table, reading: Reading) -> tuple[Sheet, Sheet]:
        """A table's file as it stands, and as the table's own sheet; one and the same where no form says otherwise.

        Raises
        ------
        Unreadable
            See `read_sheet`.
        """
        naming = {name: self.schema[name] for name in self._naming(source)} or {table.name: table}
        sheet = self._sheet(source, table, naming, reading)
        # Of a workbook without `#`, each table reads the sheet of its own name, if there is one.
        own_sheet = source.path.suffix.lower() in WORKBOOKS and not source.sheet and sheet.shown != source.told_file
        sharing = {table.name: table} if own_sheet else naming
        if len(sharing) == 1 and not _asks_for_forms(table, reading):
            return sheet, sheet
        return sheet, mapped(sheet, table, reading, sharing)

    def _naming(self, source: Source) -> list[str]:
        return [name for name in self.schema if source.label in {each.label for each in self.tables.get(name, ())}]

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
        if len(naming) > 1 and (source.sheet or source.path.suffix.lower() not in WORKBOOKS):
            self._seen[source.label] = replace(sheet, decisions=[], faults=[])  # these are told once
        return sheet


def _asks_for_forms(table: Table, reading: Reading) -> bool:
    texts = [name for name in reading.levels if name in table.columns and table.columns[name].type == "text"]
    return reading.forms.changes(table.name) or bool(texts)

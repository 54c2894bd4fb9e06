"""What depends on rows to be left out: a patient's sites, a site's log and visits, passes of an instrument."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from liftseries.base.numbers import counted
from liftseries.intake.corrections.corrected import Laid
from liftseries.intake.corrections.rows import canonical

WHOLE_LOG = ("instruments", "stops")  # a log with a hole gives wrong depths, so that the site's other passes go too


def dependants(laid: Laid, leaving: Iterable[tuple[str, int]]) -> dict[tuple[str, int], tuple[str, int]]:
    """The rows that would refer to nothing, each with the row that takes it along.

    Parameters
    ----------
    laid : all tables, with the corrections so far
    leaving : (table, row) of the rows to be left out

    Returns
    -------
    (table, row) -> (table, row) of the one it depends on; without the rows that leave anyway
    """
    gone, found = dict.fromkeys(leaving), {}
    texts = _Texts(laid)
    waiting = dict(gone)
    while waiting:
        of_table: dict[str, list[int]] = {}
        for table, index in waiting:
            of_table.setdefault(table, []).append(index)
        waiting = {}
        for table, indices in of_table.items():
            keys = _lost_keys(texts, laid, table, indices, gone)
            for child, column in _children(laid, table):
                for index, reference in enumerate(texts.of(child, column)):
                    if reference in keys and (child, index) not in gone and (child, index) not in laid.left_out:
                        waiting[child, index] = (table, keys[reference])
                if child == "steps" and table in WHOLE_LOG:
                    waiting |= _whole_logs(texts, laid, waiting, gone)
        found |= waiting
        gone |= waiting
    return found


def told_of(laid: Laid, found: Mapping[tuple[str, int], tuple[str, int]]) -> list[tuple[str, str]]:
    """A place and what depends on it, counted by table, for each row that takes others along."""
    by_row: dict[tuple[str, int], dict[str, int]] = {}
    for place in found:
        by = found[place]
        while by in found:  # what depends on a dependant is told with the row that leaves
            by = found[by]
        counts = by_row.setdefault(by, {})
        counts[place[0]] = counts.get(place[0], 0) + 1
    return [
        (
            laid.tables[table].row_place(index),
            ", ".join(f"{counted(n, 'row')} of {name}" for name, n in counts.items()),
        )
        for (table, index), counts in by_row.items()
    ]


class _Texts:
    """Columns of the corrected tables as they are compared, each worked out once."""

    def __init__(self, laid: Laid):
        self.laid, self.known = laid, {}

    def of(self, table: str, column: str) -> list[str]:
        if (table, column) not in self.known:
            filed = self.laid.tables[table]
            texts = filed.texts(column)
            for (of_table, index, of_column), value in self.laid.values.items():
                if (of_table, of_column) == (table, column):
                    texts[index] = canonical(value, filed.table.columns[column])
            self.known[table, column] = texts
        return self.known[table, column]


def _children(laid: Laid, table: str) -> list[tuple[str, str]]:
    return [
        (name, column)
        for name, filed in laid.tables.items()
        for column, parent in filed.table.references.items()
        if parent == table
    ]


def _lost_keys(texts: _Texts, laid: Laid, table: str, indices: Iterable[int], gone: Mapping) -> dict[str, int]:
    """Keys that no row has any longer -> a row that had it."""
    if not _children(laid, table):
        return {}
    keys = texts.of(table, laid.tables[table].table.key[0])
    stay = {key for index, key in enumerate(keys) if (table, index) not in gone and (table, index) not in laid.left_out}
    return {keys[index]: index for index in indices if keys[index] and keys[index] not in stay}


def _whole_logs(texts: _Texts, laid: Laid, waiting: Mapping, gone: Mapping) -> dict[tuple[str, int], tuple[str, int]]:
    sites = texts.of("steps", "site_id")
    by = {sites[index]: row for (table, index), row in waiting.items() if table == "steps" and sites[index]}
    return {
        ("steps", index): by[site]
        for index, site in enumerate(sites)
        if site in by
        and ("steps", index) not in gone
        and ("steps", index) not in waiting
        and ("steps", index) not in laid.left_out
    }

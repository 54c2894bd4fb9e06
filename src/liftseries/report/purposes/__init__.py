"""The reports: which chapters, which first page, which files; each purpose a folder with its `declaration.PURPOSE`.

A new purpose is its folder here and its name in schemas/plan.yaml. The standard library is all that is imported.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from pkgutil import iter_modules

from liftseries.report.kit.declarations import FIGURES, TABLES, Figure, Purpose


def names() -> tuple[str, ...]:
    """The purposes that are there."""
    return tuple(module.name for module in iter_modules(__path__) if module.ispkg)


def purpose(name: str) -> Purpose:
    """The purpose of that name.

    Raises
    ------
    KeyError
        There is none.
    """
    if name not in names():
        raise KeyError(name)
    return import_module(f"{__name__}.{name}.declaration").PURPOSE


def figures_of(purposes: Sequence[str] = ("publication",)) -> dict[str, tuple[Figure, ...]]:
    """The figures of these purposes by room (`depth`, `survival`), each once: those of a room are drawn in one job."""
    by_name = {figure.name: figure for name in purposes for figure in purpose(name).figures}
    rooms = dict.fromkeys(figure.room for figure in by_name.values())
    return {room: tuple(figure for figure in by_name.values() if figure.room == room) for room in rooms}


def drawn_in(room: str) -> str:
    """The folder in which a job leaves the figures of a room."""
    return f"work/figures/{room}"


def report_job(name: str) -> str:
    """The job that writes the report for a purpose."""
    folder = purpose(name).folder
    return f"report_{folder}" if folder else "report"


def files_of(purposes: Sequence[str]) -> list[str]:
    """The files that these purposes leave in the output folder itself."""
    return [path for one in map(purpose, purposes) if not one.folder for path in one.pages]


def folders_of(purposes: Sequence[str]) -> list[str]:
    """The folders that they leave there."""
    return [path for one in map(purpose, purposes) for path in ([one.folder] if one.folder else [FIGURES, TABLES])]

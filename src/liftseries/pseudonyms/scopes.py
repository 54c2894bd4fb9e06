"""Whose number it is: patients and sites are hashed with the centre or the file that their numbers are of."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from liftseries.base.numbers import counted
from liftseries.intake.files.grid import is_blank
from liftseries.pseudonyms.codes import is_identifier, pseudonym, spelling
from liftseries.pseudonyms.tables import CentreTable
from liftseries.pseudonyms.told import Remark

SCOPED = {"patient_id": "patient", "site_id": "site"}
# Table -> the column by whose owner its rows' scope is known.
KNOWN_BY = {"sites": "patient_id", "steps": "site_id", "visits": "site_id"}
OF_FILES = "file"
TWO_SCOPES = (
    "the number stands for two of different centres, and nothing says which is meant. Give each centre files of its "
    "own that are named alike: patients_north.csv, sites_north.csv."
)
STANDS_NOWHERE = "{whose} stands in no table here, so its code may differ from the one made beside that table. Add it."


class Scopes:
    """The scope of each identifier: group of files and spelling -> the scopes in which it stands."""

    def __init__(self) -> None:
        self._of: dict[str, dict[tuple[str, str], set[str]]] = {name: defaultdict(set) for name in SCOPED}

    def add(self, name: str, group: str, spelt: str, scope: str) -> None:
        self._of[name][group, spelt].add(scope)
        self._of[name]["\0", spelt].add(scope)  # in any group: no name of a file holds this sign

    def find(self, name: str, group: str, spelt: str) -> set[str]:
        """In the files that go together, else in all."""
        known = self._of[name]
        return known.get((group, spelt)) or known.get(("\0", spelt)) or set()


def code_identifiers(
    files: Iterable[CentreTable], key: bytes, centre: str, problems: list[Remark], told: list[Remark]
) -> None:
    """Fills `codes` of each file: patients before sites before what hangs on them.

    Parameters
    ----------
    files : in the order of the tables
    key : 32 bytes
    centre : of patients whose table does not say it, else empty
    problems : takes numbers that stand for two
    told : takes numbers that stand nowhere, cells that are none, and that files' names are the scope
    """
    scopes, by_file = Scopes(), False
    operators: dict[str, set[str]] = defaultdict(set)
    for file in files:
        fallback = f"centre\0{spelling(centre)}" if centre else f"{OF_FILES}\0{file.group}"
        if file.table.name == "patients":
            of_rows = [f"centre\0{spelt}" if spelt else fallback for spelt in file.spelt("centre")]
        elif file.table.name in KNOWN_BY:
            of_rows = _found(file, KNOWN_BY[file.table.name], scopes, fallback, problems, told)
        else:
            continue
        by_file |= any(scope.startswith(OF_FILES) for scope in of_rows)
        for spelt, scope in zip(file.spelt("operator"), of_rows, strict=True):
            operators[spelt].add(scope)
        for name, kind in SCOPED.items():
            if name in file.named:
                file.codes[name] = _codes(file, name, kind, key, of_rows, told)
                for spelt, scope in zip(file.spelt(name), of_rows, strict=True):
                    if spelt:
                        scopes.add(name, file.group, spelt, scope)
    if n := sum(len(of_centres) > 1 for spelt, of_centres in operators.items() if spelt):
        message = (
            f"{counted(n, 'operator')} of this name in more than one centre, each taken for one person. If they are "
            "several, give a centre's numbers a `prefix` in its file of reading."
        )
        told.append(Remark("sites", message, "operator"))
    if by_file:
        message = (
            "some patients have no centre: their numbers are told apart by the names of the files, which must then be "
            "the same at the next run. Name the centre with --centre."
        )
        told.append(Remark("identifiers", message))


def _found(
    file: CentreTable, name: str, scopes: Scopes, fallback: str, problems: list[Remark], told: list[Remark]
) -> list[str]:
    of_rows = []
    for at, spelt in enumerate(file.spelt(name)):
        found = scopes.find(name, file.group, spelt) if spelt else set()
        if len(found) > 1:
            problems.append(file.remark(TWO_SCOPES, name, at))
        elif not found and spelt:
            whose = "the patient" if name == "patient_id" else "the site"
            told.append(file.remark(STANDS_NOWHERE.format(whose=whose), name, at))
        of_rows.append(min(found) if found else fallback)
    return of_rows


def _codes(file: CentreTable, name: str, kind: str, key: bytes, of_rows: list[str], told: list[Remark]) -> list[str]:
    codes, made = [], {}
    for at, (cell, scope) in enumerate(zip(file.cells(name), of_rows, strict=True)):
        if is_identifier(cell):
            asked = (type(cell), cell, scope)
            if asked not in made:
                made[asked] = pseudonym(key, kind, cell, scope)
            codes.append(made[asked])
            continue
        if not is_blank(cell):
            told.append(
                file.remark("neither a text nor a number: left blank. Enter the identifier as a text.", name, at)
            )
        codes.append("")
    return codes

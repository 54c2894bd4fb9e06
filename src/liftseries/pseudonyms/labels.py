"""Labels, free texts and units: which become codes, and which texts stay because the user says so.

A text stays where `--keep` names its column, it has `smallest_cell` patients and looks like no identifier; at most
twenty a column, and each is shown.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field

from liftseries.base.numbers import counted, plain
from liftseries.intake.cells.numbers import number_in
from liftseries.intake.files.grid import BLANKS, is_blank
from liftseries.pseudonyms.codes import is_identifier, pseudonym, spelling
from liftseries.pseudonyms.scopes import SCOPED
from liftseries.pseudonyms.tables import CentreTable, Options
from liftseries.pseudonyms.told import Remark
from liftseries.pseudonyms.whitelist import looks_like

LABELS = {
    "centre": "centre",
    "operator": "operator",
    "protocol": "protocol",
    "instrument_id": "instrument",
    "stop_id": "stop",
    "id": "action",
}
PEOPLE = frozenset({*SCOPED, "operator"})  # never kept as they stand
MOST_TEXTS = 20
EVERY_UNIT = "all"
Behind = Mapping[str, frozenset[str]]  # text in one spelling -> codes of patients


@dataclass
class Kept:
    """The texts that stay, by column and spelling, and what is shown of them."""

    texts: dict[str, dict[str, str]] = field(default_factory=dict)
    shown: list[str] = field(default_factory=list)

    def text(self, name: str, cell: object) -> str | None:
        return self.texts.get(name, {}).get(spelling(cell)) if is_identifier(cell) else None


def coded(file: CentreTable, name: str, kind: str, key: bytes, kept: Kept, told: list[Remark]) -> list[object]:
    """The codes of a label, or its text where that is kept."""
    values: list[object] = []
    made: dict[str, str] = {}
    for at, cell in enumerate(file.cells(name)):
        value = kept.text(name, cell)
        if value is None and is_identifier(cell):
            spelt = spelling(cell)
            value = made.get(spelt) or made.setdefault(spelt, pseudonym(key, kind, cell))
        elif not is_identifier(cell) and not is_blank(cell):
            told.append(file.remark("neither a text nor a number: left blank. Enter the label as a text.", name, at))
        values.append(value)
    return values


def kept_of_free_text(file: CentreTable, name: str, kept: Kept) -> list[object]:
    """The texts of a column that stay, None elsewhere."""
    return [kept.text(name, cell) for cell in file.cells(name)]


def units(file: CentreTable, name: str, known: Mapping[str, set[str]], told: list[Remark]) -> list[object]:
    """The codes of an audit's units: operators, centres, protocols or levels of the tables of sites and patients."""
    values: list[object] = []
    for at, spelt in enumerate(file.spelt(name)):
        found = {EVERY_UNIT} if spelt == EVERY_UNIT else known.get(spelt, set())
        if spelt and len(found) != 1:
            what = "a unit of two meanings" if found else "a unit that is no operator, centre, protocol or level here"
            told.append(file.remark(f"{what}: left blank.", name, at))
        values.append(min(found) if len(found) == 1 else None)
    return values


def known_units(files: Collection[CentreTable], key: bytes, kept: Kept) -> dict[str, set[str]]:
    """What an audit's unit may be called -> what it is written as."""
    known: dict[str, set[str]] = defaultdict(set)
    of_sites = [file for file in files if file.table.name in ("patients", "sites")]
    for column in (column for file in of_sites for column in file.table.columns.values()):
        known |= {spelling(level): {level} for level in column.levels if column.type == "category"}
    for file in files:
        for name in ("centre", "operator", "protocol"):
            if name in file.named and name in file.table.columns:
                for spelt, code in zip(file.spelt(name), coded(file, name, LABELS[name], key, kept, []), strict=True):
                    known[spelt] |= {str(code)} if spelt else set()
    return known


def kept_texts(files: Collection[CentreTable], options: Options, problems: list[Remark], told: list[Remark]) -> Kept:
    """The texts of the columns that `--keep` names which have patients enough."""
    kept = Kept()
    for name in sorted(options.keep):
        having = [file for file in files if name in file.named]
        if any(name in PEOPLE or not _is_text(file, name) for file in having):
            problems.append(
                Remark("command line", f"--keep {name}: only labels and free texts can be kept. Leave it out.")
            )
            continue
        behind: dict[str, set[str]] = defaultdict(set)
        spelled: dict[str, str] = {}
        for file in having:
            for cell, patients in zip(file.cells(name), _patients_of_rows(file, name, files), strict=True):
                if is_identifier(cell):
                    text = _shown(cell)
                    spelled[spelling(cell)] = min(text, spelled.get(spelling(cell), text))
                    behind[spelling(cell)] |= patients
        enough = {spelt for spelt, patients in behind.items() if len(patients) >= options.smallest_cell}
        if doubtful := {spelt for spelt in enough if looks_like(spelled[spelt])}:
            told += [file.remark("a text that looks like an identifier: not kept.", name) for file in having[:1]]
        enough -= doubtful
        if len(enough) > MOST_TEXTS:
            message = (
                f"--keep {name}: {len(enough)} different texts, and at most {MOST_TEXTS} are kept. Declare its levels "
                "under extra_columns (--study), or leave it out."
            )
            problems.append(Remark("command line", message))
            continue
        kept.texts[name] = {spelt: spelled[spelt] for spelt in enough}
        kept.shown += _lines(name, kept.texts[name], behind, options.smallest_cell)
    return kept


def _is_text(file: CentreTable, name: str) -> bool:
    column = file.table.columns.get(name)
    return (column is None or column.type == "text") and name not in file.dates


def _lines(name: str, texts: Mapping[str, str], behind: Mapping[str, set[str]], least: int) -> Iterator[str]:
    listed = [f'"{texts[spelt]}" ({len(behind[spelt])} patients)' for spelt in sorted(texts)]
    yield f"{name}: kept as it stands: {', '.join(listed) or 'nothing'}. Is any of it a person or place?"
    if others := len(behind) - len(texts):
        yield f"{name}: {counted(others, 'other text')} of fewer than {least} patients, not kept."


def _shown(cell: object) -> str:
    return " ".join(cell.strip(BLANKS).split()) if isinstance(cell, str) else plain(number_in(cell))


# ── patients behind a row ─────────────────────────────────────────────────────────────────────────────────────


def _patients_of_rows(file: CentreTable, name: str, files: Collection[CentreTable]) -> Iterator[frozenset[str]]:
    none: frozenset[str] = frozenset()
    match file.table.name:
        case "patients" | "sites":
            return (frozenset([code] if code else ()) for code in file.codes.get("patient_id", [""] * len(file)))
        case "steps" | "visits":
            owner = _patient_of_site(files)
            sites = file.codes.get("site_id", [""] * len(file))
            return (frozenset([owner[site]]) if site in owner else none for site in sites)
        case "instruments" | "stops":
            key = file.table.key[0]
            used = _behind([other for other in files if other.table.name == "steps"], key, files)
            return (used.get(spelt, none) for spelt in file.spelt(key))
        case _:
            return _patients_of_units(file, files)


def _behind(having: Collection[CentreTable], name: str, files: Collection[CentreTable]) -> Behind:
    found: dict[str, set[str]] = defaultdict(set)
    for file in having:
        for spelt, patients in zip(file.spelt(name), _patients_of_rows(file, name, files), strict=True):
            found[spelt] |= patients
    return {spelt: frozenset(patients) for spelt, patients in found.items()}


def _patient_of_site(files: Collection[CentreTable]) -> dict[str, str]:
    pairs = (
        (site, patient)
        for file in files
        if file.table.name == "sites" and {"site_id", "patient_id"} <= set(file.codes)
        for site, patient in zip(file.codes["site_id"], file.codes["patient_id"], strict=True)
    )
    return {site: patient for site, patient in pairs if site and patient}


def _patients_of_units(file: CentreTable, files: Collection[CentreTable]) -> Iterator[frozenset[str]]:
    """Of an audit's row: the patients of its unit, all of them where it is about all."""
    having = [other for other in files if other.table.name in ("patients", "sites")]
    of_unit: dict[str, frozenset[str]] = {}
    for name in ("protocol", "centre", "operator"):
        of_unit |= _behind([other for other in having if name in other.named], name, files)
    everyone = frozenset(code for other in having for code in other.codes.get("patient_id", ()) if code)
    return (everyone if unit in ("", EVERY_UNIT) else of_unit.get(unit, frozenset()) for unit in file.spelt("unit"))

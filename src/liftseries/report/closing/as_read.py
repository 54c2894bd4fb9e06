"""What the reading of the files adds to the limits: columns never recorded, planned months, meanings of empty cells."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import interval, listed, percent
from liftseries.report.kit.quoted import below_gate
from liftseries.report.kit.sentences import source
from liftseries.report.languages.say import say
from liftseries.study.forms import EACH, OUTCOMES
from liftseries.study.schema import columns_by_name

MONTHS, FILLED_CELLS = "months", "sensitivity.filled_cells"


def _sections(material: Material) -> list[Mapping[str, Any]]:
    """What study.yaml says of all files, and of each."""
    return [material.plan.get("reading", {}), *material.plan.get("read_as", {}).values()]


def reading_told(plan: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """What the sentences below need of how files are read, without the name or a word of any file."""
    sections = [plan.get("reading", {}), *plan.get("read_as", {}).values()]
    groups = [((one.get("columns") or {}).get("visits") or {}).get(EACH) or () for one in sections]
    return {
        f"file {number}": {
            **{form: one.get(form) or {} for form in ("empty_means", "not_collected")},
            "columns": {"visits": {EACH: [{MONTHS: group[MONTHS]} for group in of if _is_planned(group)]}},
        }
        for number, (one, of) in enumerate(zip(sections, groups, strict=True), start=1)
    }


def _is_planned(group: Mapping[str, Any]) -> bool:
    return isinstance(group.get(MONTHS), int | float)


def _entries(material: Material, form: str) -> Iterator[tuple[str, Any]]:
    for section in _sections(material):
        for names in (section.get(form) or {}).values():
            yield from names.items() if isinstance(names, Mapping) else ((name, None) for name in names or ())


def _titled(material: Material, name: str) -> str:
    columns = columns_by_name(material.plan["extra_columns"])
    return columns[name].title.lower() if name in columns else name


def not_collected(material: Material) -> str:
    """Which columns some files say that nobody recorded."""
    names = dict.fromkeys(name for name, _ in _entries(material, "not_collected"))
    return say("closing.not_collected", columns=[_titled(material, name) for name in names]) if names else ""


def planned_months(material: Material) -> str:
    """That visits of some files stand at the month that heads their columns."""
    groups = [
        group
        for section in _sections(material)
        for group in ((section.get("columns") or {}).get("visits") or {}).get(EACH) or ()
    ]
    return say("closing.planned_months") if any(map(_is_planned, groups)) else ""


def _meant(material: Material, of_outcomes: bool) -> dict[str, list[str]]:
    """Column -> what its empty cells were taken for, each file's own."""
    meant: dict[str, list[str]] = {}
    for name, value in _entries(material, "empty_means"):
        if value is not None and (name in OUTCOMES) == of_outcomes and str(value) not in meant.get(name, ()):
            meant.setdefault(name, []).append(str(value))
    return {name: [f"{value} for {_titled(material, name)}" for value in values] for name, values in meant.items()}


def empty_means(material: Material) -> str:
    """What empty cells were taken for, of columns that are no outcome."""
    meant = _meant(material, of_outcomes=False)
    return say("closing.empty_means", columns=[one for of in meant.values() for one in of]) if meant else ""


def empty_outcomes(material: Material) -> tuple[str, str]:
    """What empty cells of outcomes were taken for, in how many, and the outcomes without them; and their rows.

    Where no cell of them was empty, nothing is said. A report that leaves the house has neither counts nor rows of it.
    """
    meant, cells = _meant(material, of_outcomes=True), material.table("filled_cells")
    if material.withheld is None:
        n_cells = cells["column"].value_counts()
        columns = [
            say("closing.empty_outcome_cells", meant=listed(meant[name]), cells=int(n_cells[name]))
            for name in meant
            if name in n_cells
        ]
    else:
        columns = [one for of in meant.values() for one in of]
    if not columns:
        return "", ""
    rows = material.rows(FILLED_CELLS)
    rows = rows[rows["estimate"].notna() & ~below_gate(rows)]
    shares = [_share(row) for _, row in rows.iterrows()]
    told = [
        say("closing.empty_outcome", columns=columns),
        *([say("closing.empty_without", shares=shares)] * bool(shares)),
    ]
    return " ".join(told), "; ".join(source(row) for _, row in rows.iterrows())


def _share(row) -> str:
    """One outcome without the cells that were empty."""
    outcome, _, month = str(row["term"]).partition(" at ")
    share = interval(row["estimate"], row["conf_low"], row["conf_high"], percent)
    return say(f"closing.empty_{outcome}", share=share, **({"months": float(month)} if month else {}))

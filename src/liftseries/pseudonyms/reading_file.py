"""A centre's file of reading, with the forms of dates that are taken here alone: `year`, `age`, `months_between`.

    sites:    {surgery_year: {from: Surgery, take: year}}
    patients: {age_years: {from: Birth, take: age}}          # at the first surgery; or from: [Birth, Surgery]
    visits:   {months: {from: Seen, take: months_between}}   # since placement; or from: [Placed, Seen]

Each becomes the columns of dates that a file may have of its own (`days.DATE_COLUMNS`): there is one way to take them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from liftseries.base.errors import Problem, StudyError
from liftseries.pseudonyms.days import DATE_COLUMNS
from liftseries.study.file_readings import merged, reading_schema
from liftseries.study.form_problems import doubts, form_problems
from liftseries.study.forms import EACH, OF_DATES, REPEATED, Forms, forms_of
from liftseries.study.plan_files import load_written
from liftseries.study.plan_shape import shape_problems, with_defaults
from liftseries.study.reading import Reading, reading_of, reading_problems, words_as_text
from liftseries.study.schema import Column, Table

YEAR, AGE, MONTHS = OF_DATES
WHERE = "--reading"
START = "`liftseries map` drafts one"


@dataclass(frozen=True)
class DateForm:
    """What a form of dates gives, and the columns of dates that it is made of: the last, then the one counted from."""

    table: str
    column: str
    dates: tuple[str, ...]


DATE_FORMS = {
    YEAR: DateForm("sites", "surgery_year", ("surgery_date",)),
    AGE: DateForm("patients", "age_years", ("birth_date", "age_on")),
    MONTHS: DateForm("visits", "months", ("visit_date", "placed_on")),
}


def tables_read(schema: Mapping[str, Table], forms: Forms) -> dict[str, Table]:
    """The tables with the columns of dates that they may have here; a visit's date stands in the key for its months."""
    tables = dict(schema)
    for name, dates in DATE_COLUMNS.items():
        more = {date: Column(date, "text", date, "A date.", optional=True) for date in dates}
        tables[name] = replace(tables[name], columns={**tables[name].columns, **more})
    of_visits = [forms.columns.get("visits", {}), *(group.columns for group in forms.each.get("visits", ()))]
    if any("visit_date" in columns for columns in of_visits):
        tables["visits"] = replace(tables["visits"], key=("site_id", "visit_date"))
    return tables


def read_reading(path: Path | None, schema: Mapping[str, Table], study: Path | None = None) -> Reading:
    """How the centre's files are read.

    Parameters
    ----------
    path : the file of reading, None where there is none
    schema : every table, with the study's own columns
    study : a study.yaml whose section `reading` holds too, entry by entry below the file's

    Raises
    ------
    StudyError
        With every problem of the file.
    """
    content = words_as_text(load_written(path, WHERE, START, comments_do=True)) if path else {}
    if left := list(doubts(content)):
        message = f"{len(left)} of its entries are still questions (`?`): {'; '.join(left[:5])}. Answer or delete them."
        raise StudyError([Problem(WHERE, message)])
    problems: list[Problem] = []
    content = _dates_taken(content, problems)
    problems += shape_problems(_without_empty(content), reading_schema(), WHERE)
    if problems:
        raise StudyError(problems)
    common = load_written(study, "study.yaml", START).get("reading") or {} if study else {}
    section = merged(with_defaults(words_as_text(common), reading_schema()), content)
    forms = forms_of(section)
    tables = tables_read(schema, forms)
    wrong = [*reading_problems(section, tables), *form_problems(section, tables)]
    if wrong:
        raise StudyError([Problem(f"{WHERE}, {where}", message) for where, message in wrong])
    return reading_of(section, forms, WHERE)


def _without_empty(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_empty(entry) for key, entry in value.items() if entry is not None}
    return value


def _dates_taken(content: Mapping[str, Any], problems: list[Problem]) -> dict[str, Any]:
    """The file with each form of dates as the columns of dates that it is made of."""
    columns = content.get("columns")
    if not isinstance(columns, dict):
        return dict(content)
    made = {}
    for table, entries in columns.items():
        if not isinstance(entries, dict):
            made[table] = entries
            continue
        made[table] = _of_entries(table, entries, problems)
        groups = entries.get(EACH)
        if isinstance(groups, list):
            made[table][EACH] = [
                _of_entries(table, group, problems) if isinstance(group, dict) else group for group in groups
            ]
    # The first surgery of a patient is known where sites have their dates; a row's own is then one of several.
    if "surgery_date" in made.get("sites", {}) and isinstance(made.get("patients"), dict):
        made["patients"].pop("age_on", None)
    return {**content, "columns": made}


def _of_entries(table: str, entries: Mapping[str, Any], problems: list[Problem]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for name, entry in entries.items():
        take = entry.get("take") if isinstance(entry, dict) else None
        if take not in OF_DATES:
            made[name] = entry
            continue
        form, where = DATE_FORMS[take], f"{WHERE}, columns, {table}, {name}"
        sources = entry.get("from")
        sources = [sources] if isinstance(sources, str) else sources
        if (table, name) != (form.table, form.column):
            problems.append(Problem(where, f"`take: {take}` gives {form.column} of {form.table} alone. Correct it."))
        elif set(entry) - {"from", "take", "missing"}:
            problems.append(Problem(where, f"beside `take: {take}` only `from` and `missing` may stand. Correct it."))
        elif not isinstance(sources, list) or not 1 <= len(sources) <= len(form.dates):
            least = "a column of dates" + (", or a list of two" if len(form.dates) > 1 else "")
            problems.append(Problem(where, f"`from` must name {least}. Correct it."))
        else:
            made |= _columns_of(form, sources, entry)
    return made


def _columns_of(form: DateForm, sources: list[str], entry: Mapping[str, Any]) -> dict[str, Any]:
    """`[Birth, Surgery]` is birth and then the day of the age; `[Placed, Seen]` placement and then the visit."""
    dates = form.dates[::-1] if form.column == "months" and len(sources) > 1 else form.dates
    rest = {"missing": entry["missing"]} if "missing" in entry else {}
    made = {date: {"from": source, **rest} for date, source in zip(dates, sources, strict=False)}
    if "age_on" in made:
        made["age_on"]["repeated"] = REPEATED[0]
    return made

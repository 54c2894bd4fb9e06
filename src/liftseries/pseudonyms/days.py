"""Columns of dates to what a study may hold: years of surgery, ages at the first surgery, months since placement."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field

from liftseries.pseudonyms.dates import completed_years, months_between, read_dates
from liftseries.pseudonyms.tables import CentreTable, Options
from liftseries.pseudonyms.told import Remark

# Table -> the columns of dates -> what each is turned into; empty where another column is counted from it.
DATE_COLUMNS = {
    "patients": {"birth_date": "age_years", "age_on": ""},
    "sites": {"surgery_date": "surgery_year", "placement_date": ""},
    "visits": {"visit_date": "months", "placed_on": ""},
}
DONE = {
    "age_years": "dates turned into age at the first surgery",
    "surgery_year": "dates turned into years",
    "months": "dates turned into months since placement, to a tenth",
    "": "dropped: other columns are counted from these dates",
}
LEFT_BLANK = "left blank"


@dataclass
class Days:
    """By the code of a site the days of surgery and placement, of a patient that of the first surgery."""

    placed: dict[str, datetime.date] = field(default_factory=dict)
    first: dict[str, datetime.date] = field(default_factory=dict)
    sites: set[str] = field(default_factory=set)  # that stand in a table of sites
    unread: set[str] = field(default_factory=set)  # sites and patients with a date that cannot be read


def read_date_columns(file: CentreTable, options: Options, problems: list[Remark], told: list[Remark]) -> None:
    """Fills `dates` and `unread` of a file.

    A column whose order of day and month is unclear is a problem, since one word of the user's settles it; a single
    cell that is no date is told.
    """
    columns = DATE_COLUMNS.get(file.table.name, {})
    for name in [name for name in columns if name in file.named and name not in options.drop]:
        dates, faults, of_all = read_dates(file.cells(name), options.order)
        file.dates[name], file.unread[name] = dates, set(faults)
        if of_all:
            problems.append(file.remark(of_all, name))
            continue
        for at, message in faults.items():
            if "--dates" in message:
                problems.append(file.remark(message, name, at))
            else:
                told.append(file.remark(f"{message} {LEFT_BLANK.capitalize()}.", name, at))
        into = columns[name]
        if into in file.named and into not in options.drop:
            problems.append(
                file.remark(f"both these dates and {into} are given. Drop one of the two with --drop.", name)
            )
    if "placement_date" in file.dates and not {"surgery_date", "surgery_year"} & set(file.named):
        message = "surgery_date is missing, of which surgery_year is made. Add it."
        problems.append(file.remark(message, "placement_date"))


def days_of_sites(files: Collection[CentreTable]) -> Days:
    """The days from which months and ages are counted; a row without an identifier dates nobody."""
    days = Days()
    for file in files:
        if file.table.name != "sites":
            continue
        since = "placement_date" if "placement_date" in file.dates else "surgery_date"
        none: list = [None] * len(file)
        operated, placed = (file.dates.get(name, none) for name in ("surgery_date", since))
        sites, patients = (file.codes.get(name, [""] * len(file)) for name in ("site_id", "patient_id"))
        unread = {name: file.unread.get(name, set()) for name in ("surgery_date", since)}
        for at, (site, patient) in enumerate(zip(sites, patients, strict=True)):
            days.sites.add(site)
            if placed[at] and site:
                days.placed[site] = placed[at]
            if operated[at] and patient:
                days.first[patient] = min(operated[at], days.first.get(patient, operated[at]))
            days.unread |= {site} if at in unread[since] else set()
            days.unread |= {patient} if at in unread["surgery_date"] else set()
    return days


def undated(file: CentreTable, name: str, days: Days, told: list[Remark]) -> list[object]:
    """What stands in place of a column's dates, one a row; None where it cannot be told, and why is told."""
    into, dates = DATE_COLUMNS[file.table.name][name], file.dates[name]
    if into == "surgery_year":
        return [date and date.year for date in dates]
    values: list[object] = [None] * len(file)
    for at, start, missing in _starts(file, into, days):
        if start is None:
            told.append(file.remark(f"{missing}: {LEFT_BLANK}.", name, at))
            continue
        is_wrong = dates[at] < start if into == "months" else start < dates[at]
        if is_wrong:
            wrong = "before the placement" if into == "months" else "after the surgery"
            told.append(file.remark(f"a day {wrong}: {LEFT_BLANK}. Correct one of the two dates.", name, at))
        else:
            values[at] = months_between(start, dates[at]) if into == "months" else completed_years(dates[at], start)
    return values


def _starts(file: CentreTable, into: str, days: Days) -> Iterator[tuple[int, datetime.date | None, str]]:
    """Row, the day to count from, and why there is none; of the rows that have a date."""
    months = into == "months"
    own = "placed_on" if months else "age_on"
    owners = file.codes.get("site_id" if months else "patient_id", [""] * len(file))
    name = next(name for name, given in DATE_COLUMNS[file.table.name].items() if given == into)
    for at, (date, owner) in enumerate(zip(file.dates[name], owners, strict=True)):
        if not date:
            continue
        if own in file.dates:
            yield at, file.dates[own][at], "the row has no date to count from that can be read"
            continue
        yield at, (days.placed if months else days.first).get(owner), _why_none(owner, months, days)


def _why_none(owner: str, months: bool, days: Days) -> str:
    if not owner:
        return f"the row names no {'site' if months else 'patient'}"
    if owner in days.unread:
        return "the date of surgery or placement to count from cannot be read, as told of that date"
    if months:
        known = "its site has no date of placement or surgery"
        return known if owner in days.sites else "its site stands in no table of sites here"
    return "the patient has no site with a date of surgery here"

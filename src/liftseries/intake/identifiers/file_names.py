"""Names of files and sheets, which stand in messages: one that looks like a person's or carries a date is not told."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import PurePosixPath

from liftseries.intake.identifiers.kinds import Kind, Role
from liftseries.intake.identifiers.search import kinds_of
from liftseries.intake.identifiers.validity import is_day_month_year, is_eight_digit_date
from liftseries.study.plan_files import Source
from liftseries.study.schema import EVERY_TABLE

TABLES = re.compile(rf"(?i)(?<![^\W_])(?:{'|'.join(EVERY_TABLE)})(?![^\W_])")
EIGHT_DIGITS, SHORT_DATE = (
    re.compile(r"(?<!\d)\d{8}(?!\d)"),
    re.compile(r"(?<!\d)\d{1,2}([-.])\d{1,2}\1(?:\d{4}|\d{2})(?!\d)"),
)


def kind_of_file_name(label: str) -> Kind | None:
    """What the name of a file, its folders or its sheet points at, None where at nothing.

    Parameters
    ----------
    label : as study.yaml names it: `north.csv`, `data/cases.xlsx#sites`
    """
    name, _, sheet = label.partition("#")
    *folders, file = PurePosixPath(name.replace("\\", "/")).parts or ("",)
    for part in (*folders, file.rpartition(".")[0] or file, sheet):
        dashed = part.replace("_", "-")
        if any(map(is_eight_digit_date, EIGHT_DIGITS.findall(part))):
            return Kind.DATE
        if any(is_day_month_year(found[0]) for found in SHORT_DATE.finditer(dashed)):
            return Kind.DATE
        spaced = " ".join(TABLES.sub(" ", part).replace("_", " ").split()).strip(" -.")
        texts = [text for text in dict.fromkeys((part, dashed, spaced, spaced.replace("-", " "))) if text]
        if found := kinds_of(texts, Role.LABEL) | kinds_of(texts, Role.KEY):
            return next(iter(found.values()))
    return None


def called_safely(tables: Mapping[str, tuple[Source, ...]]) -> dict[str, tuple[Source, ...]]:
    """The files of each table, those whose name may be somebody's called by the first table that names them."""
    instead: dict[str, str] = {}
    for table, sources in tables.items():
        for number, source in enumerate(sources, start=1):
            if source.label not in instead and kind_of_file_name(source.label):
                instead[source.label] = f"{table}, file {number}"
    return {
        table: tuple(replace(source, instead=instead.get(source.label, "")) for source in sources)
        for table, sources in tables.items()
    }

"""The small study with lines of corrections.csv, each hashed by hand from what the module says of it."""

from __future__ import annotations

import csv
import hashlib
import hmac
import io
import json

from pandas.testing import assert_frame_equal
from studies import tables, write_study

from liftseries.intake.corrections.lines import COLUMNS, read_corrections
from liftseries.intake.study import check_study, checked_drafts, read_study
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import CORRECTIONS_FILE, KEY_FILE

SECRET = bytes(range(32))
KEYS = {
    "patients": ("patient_id",),
    "sites": ("site_id",),
    "steps": ("site_id", "step_no"),
    "visits": ("site_id", "months"),
    "stops": ("stop_id",),
}


def by_hand(*parts: object) -> str:
    """HMAC-SHA-256 of the parts as JSON, its first 32 digits."""
    return hmac.new(SECRET, json.dumps(parts, ensure_ascii=False).encode(), hashlib.sha256).hexdigest()[:32]


def row_of(table: str, key: str, of: dict | None = None) -> dict[str, str]:
    """The filled cells of a row of the small study by its key."""
    rows = (of or tables())[table].to_dict("records")
    found = next(row for row in rows if " | ".join(str(row[name]) for name in KEYS[table]) == key)
    return {name: text for name, text in found.items() if text}


def line(table="patients", key="p1", column="centre", value="south", number=1, stood=None, **more) -> dict[str, str]:
    """A line as the command writes it; `stood` is what stands in the cell, of the small study where it is not given."""
    if column:
        stood = row_of(table, key).get(column, "") if stood is None else stood
        hashed = by_hand(table, key, column, [stood])
    else:
        more = {"stood": "row"} | more
        hashed = by_hand(table, key, "row", sorted([name, text] for name, text in row_of(table, key).items()))
    return dict(
        line=str(number), table=table, key=key, column=column, stood="text", stood_hash=hashed, value=value,
        reason="typing error", person="dm1", date="2025-03-04", supersedes="",
    ) | more  # fmt: skip


def withdrawing(number: int, supersedes: int, table="patients", key="p1") -> dict[str, str]:
    more = {"stood": "line", "stood_hash": "", "supersedes": str(supersedes), "column": ""}
    return line(table, key, "centre", "withdraw", number) | more


def corrected_study(folder, *lines, changes=None, separator=",", ends="\n", encoding="utf-8", secret=SECRET):
    """The study folder with these lines, and the key unless `secret` is None."""
    study = write_study(folder / "study", changes)
    write_lines(study, *lines, separator=separator, ends=ends, encoding=encoding)
    if secret:
        (study / KEY_FILE).write_text(secret.hex(), encoding="ascii")
    return study


def write_lines(study, *lines, separator=",", ends="\n", encoding="utf-8"):
    """corrections.csv of these lines; one that is a list is written as it is."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=separator, lineterminator=ends)
    writer.writerow(COLUMNS)
    writer.writerows(one if isinstance(one, list) else [one[name] for name in COLUMNS] for one in lines)
    (study / CORRECTIONS_FILE).write_bytes(text.getvalue().encode(encoding))


def tables_of(study, **more):
    return read_study(read_plan(study), **more).tables


def states(study) -> dict[int, str]:
    lines = check_study(read_plan(study))[0].corrections
    return {number: state for number, state in zip(lines["line"], lines["state"], strict=True) if state}


def assert_same(tables, expected):
    for name, table in expected.items():
        assert_frame_equal(tables[name], table)


def drafts_of(study):
    plan = read_plan(study)
    return checked_drafts(plan, read_corrections(plan))

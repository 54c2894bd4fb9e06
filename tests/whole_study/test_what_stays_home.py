"""Comparison and audit stay home by declaration: no number, unit or file of theirs is in what leaves of a study."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest
from packed import everything_in
from whole_study.conftest import UNITS

from liftseries.models.questions import questions_for

HOME = ("comparison", "audit")
LONG = re.compile(r"(?<![\w.])\d+\.\d+(?![\w.])")  # numbers with decimals


def numbers_of(text: str) -> set[str]:
    """Numbers with decimals, of three digits and more."""
    return {number for number in LONG.findall(text) if len(number.replace(".", "").lstrip("0")) >= 3}


def printed_in(*places: Path) -> str:
    """What the pages and tables in some places print, without marks and drawings."""
    files = [path for place in places for path in ([place] if place.is_file() else sorted(place.rglob("*")))]
    words = [path.read_text(encoding="utf-8") for path in files if path.suffix in (".html", ".csv")]
    return "\n".join(re.sub(r"(?s)<(script|style)\b.*?</\1>|<[^>]*>", " ", text) for text in words)


@pytest.fixture(scope="module")
def bundle(released):
    """All bytes of what leaves of the same study."""
    return everything_in(released / "release")


def test_comparison_and_audit_stay_home_with_their_files(released, bundle):
    output = released / "output"
    at_home = [path for folder in HOME for path in (output / folder).rglob("*") if path.is_file()]
    elsewhere = {path.name for path in output.rglob("*") if path.is_file() and path not in at_home}
    own = {path.name for path in at_home} - elsewhere
    assert len(own) > 10
    assert [name for name in sorted(own) if name.encode() in bundle] == []
    assert [folder for folder in HOME if f"{folder}/".encode() in bundle] == []


def test_no_unit_of_the_audit_is_named_in_what_leaves(released, bundle):
    audit = everything_in(released / "output/audit")
    for label in UNITS.values():
        assert label.encode() in audit
        assert label.encode() not in bundle


def rows_at_home(study: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Rows of results.csv that the publication does not ask for, and the others."""
    results = pd.read_csv(study / "output/results.csv", dtype=str, keep_default_na=False)
    asked = {analysis.name for question in questions_for(["publication"]) for analysis in question.analyses}
    is_asked = results["analysis"].isin(asked) | results["term"].str.partition(" ")[0].isin(asked)
    return results[~is_asked], results[is_asked]


def test_no_number_that_comparison_and_audit_alone_print_is_printed(released):
    """Of their pages, tables and rows, whatever no page, table or row of the publication in the house prints."""
    output = released / "output"
    home, others = rows_at_home(released)
    mine = numbers_of(printed_in(*(output / folder for folder in HOME)) + home.to_csv())
    pages = [path for path in output.iterdir() if path.suffix == ".html"]
    own = mine - numbers_of(printed_in(output / "tables", *pages) + others.to_csv())
    assert len(own) > 20
    assert sorted(own & numbers_of(printed_in(released / "release"))) == []


def test_no_estimate_of_theirs_stands_anywhere_in_the_bytes(released, bundle):
    """To six digits, in which none stands by chance, as a rounded 1 may."""
    home, others = rows_at_home(released)
    six = [set(table["estimate"].str.extract(r"^-?(\d*\.\d{6})", expand=False).dropna()) for table in (home, others)]
    own = {number for number in six[0] - six[1] if len(number.replace(".", "").strip("09")) >= 6}
    assert len(own) > 5
    assert sorted(number for number in own if number.encode() in bundle) == []

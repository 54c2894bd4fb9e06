"""Order and place mean nothing: all three reports to the byte, whatever rows, columns and files come first, and where.

The other run has shuffled rows and columns and every table split into two files; it is on one core, in another folder,
time zone, local day and language, with another hash seed. (What is killed and begun again: `faults`.)
"""

from __future__ import annotations

import filecmp
import re
from pathlib import Path

import pandas as pd
import pytest
from studies import write_shuffled
from whole_study.part_of_the_demo import THERE, part_of_the_demo, run_at

NAMES_FILES = {
    "set_aside.csv", "decisions.csv", "oddities.csv", "checked/places.parquet", "manifest.json",
    "ro-crate-metadata.json", "checked/counts.csv",
}  # fmt: skip
PAGES = re.compile(r".*supplement\.(html|pdf)")  # its last chapter names the input files and their hashes
KINDS = {".csv", ".docx", ".html", ".parquet", ".pdf", ".png", ".svg"}


@pytest.fixture(scope="module")
def outputs(part, tmp_path_factory) -> tuple[Path, Path]:
    """What the run in order and the other one left."""
    tables, plan = part_of_the_demo()
    other = tmp_path_factory.mktemp("other") / "Ordner mit Umlaut ä" / "study"
    other.parent.mkdir()
    write_shuffled(other, tables, 7, 2, plan)
    said = run_at(THERE, other, "--cores", "1")
    assert (said.status, said.err) == (0, "")
    assert not list((other / "output").rglob("*.unfinished*"))
    return part[0] / "output", other / "output"


def test_no_byte_of_what_is_found_differs(outputs):
    one, other = outputs
    left = {path.relative_to(one).as_posix() for path in one.rglob("[!.]*") if path.is_file()}
    left = {name for name in left if not name.startswith((".", "logs/")) and name not in NAMES_FILES}
    compared = sorted(name for name in left if not PAGES.fullmatch(name))
    reports = {f"{folder}{name}" for folder in ("", "comparison/", "audit/") for name in ("report.html", "report.pdf")}
    assert {"results.csv", "clean/sites.csv", "audit/cusum.csv", *reports} <= {*compared}
    assert {Path(name).suffix for name in compared} >= KINDS
    _, differ, lacking = filecmp.cmpfiles(one, other, compared, shallow=False)
    assert (differ, lacking) == ([], [])


def test_the_series_is_large_enough_to_try_the_questions(outputs):
    """Nine in ten of the analyses that all purposes ask give an estimate, so that little is compared by its refusal."""
    results = pd.read_csv(outputs[0] / "results.csv")
    answered = results.groupby("analysis")["estimate"].apply(lambda column: column.notna().any())
    assert answered.mean() > 0.9, sorted(answered.index[~answered])

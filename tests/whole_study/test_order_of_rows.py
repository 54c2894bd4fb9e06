"""Order and place mean nothing: all three reports to the byte, whatever rows, columns and files come first, and where.

The other run has shuffled rows and columns and every table split into two files; it is on one core, in another folder,
time zone, local day, language, with another hash seed.
"""

from __future__ import annotations

import filecmp
import re
from pathlib import Path

import pandas as pd
import pytest
from studies import Tables, write_plan, write_shuffled
from whole_study.conftest import DEMO, liftseries

from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan

PATIENTS = 17  # of each centre
FEWER = "plan:\n  resamples: 20\n  imputation: {sets: 2, iterations: 1}\n"
NAMES_FILES = {
    "set_aside.csv", "decisions.csv", "oddities.csv", "checked/places.parquet", "manifest.json",
    "ro-crate-metadata.json", "checked/counts.csv",
}  # fmt: skip
PAGES = re.compile(r".*supplement\.(html|pdf)")  # its last chapter names the input files and their hashes
KINDS = {".csv", ".docx", ".html", ".parquet", ".pdf", ".png", ".svg"}
# A day apart in their own time, whatever the hour.
HERE, THERE = {"TZ": "HERE+12", "LC_ALL": "C.UTF-8"}, {"TZ": "THERE-12", "LC_ALL": "de_DE.UTF-8", "PYTHONHASHSEED": "7"}


def part_of_the_demo() -> tuple[Tables, str]:
    """Some patients of each centre, those with a tear first, with all that is theirs, one row refused; and the plan."""
    tables = {name: table.astype(object) for name, table in read_study(read_plan(DEMO)).tables.items()}
    cycle = ("actions", "responses", "changes")
    tables |= {name: pd.read_csv(DEMO / f"{name}.csv", dtype=str, keep_default_na=False) for name in cycle}
    patients = tables["patients"]
    torn = tables["sites"].loc[tables["sites"]["perforation"] == "yes", "patient_id"]
    first = patients.assign(torn=patients["patient_id"].isin(torn)).sort_values("torn", ascending=False, kind="stable")
    kept = patients.loc[first.index[first.groupby("centre").cumcount() < PATIENTS]]
    sites = tables["sites"][tables["sites"]["patient_id"].isin(kept["patient_id"])].copy()
    sites.loc[sites.index[5], ["rbh_min_mm", "rbh_max_mm"]] = [8.8, 2.2]
    tables |= {"patients": kept, "sites": sites}
    tables |= {name: tables[name][tables[name]["site_id"].isin(sites["site_id"])] for name in ("steps", "visits")}
    written = (DEMO / "study.yaml").read_text(encoding="utf-8")
    plan, n = re.subn(r"(?ms)^tables:\n.*?^plan:\n", "", written)
    assert n == 1
    before = written.partition("\ntables:\n")[0]
    return tables, f"{before}\ninvalid_rows: set_aside\n{FEWER}{plan.removeprefix(before)}"


def run_at(place: dict[str, str], study: Path, *words: str) -> Path:
    with pytest.MonkeyPatch.context() as patch:
        for name, value in place.items():
            patch.setenv(name, value)
        said = liftseries("run", study, "--quiet", *words)
    assert said.status == 0, said
    return study / "output"


@pytest.fixture(scope="module")
def outputs(tmp_path_factory) -> tuple[Path, Path]:
    """What the run in order and the other one left."""
    tables, plan = part_of_the_demo()
    plain = tmp_path_factory.mktemp("plain")
    for name, table in tables.items():
        table.to_csv(plain / f"{name}.csv", index=False)
    write_plan(plain, {name: f"{name}.csv" for name in tables}, plan)
    other = tmp_path_factory.mktemp("other") / "Ordner mit Umlaut ä" / "study"
    other.parent.mkdir()
    write_shuffled(other, tables, 7, 2, plan)
    return run_at(HERE, plain), run_at(THERE, other, "--cores", "1")


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

"""A part of the demo that all three reports are made of, and runs of it in other places."""

from __future__ import annotations

import re
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pandas as pd
import pytest
from studies import Tables
from whole_study.conftest import DEMO, Said, liftseries

from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan

PATIENTS = 17  # of each centre
FEWER = "plan:\n  resamples: 20\n  imputation: {sets: 2, iterations: 1}\n"
# Of two zones a day apart one has another day than it is here, whatever the hour.
ZONE = "THERE-12" if datetime.now(timezone(timedelta(hours=12))).date() != datetime.now().date() else "THERE+12"
THERE = {"TZ": ZONE, "LC_ALL": "de_DE.UTF-8", "PYTHONHASHSEED": "7"}


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


def run_at(place: dict[str, str], study: Path, *words: str) -> Said:
    """A run with these words of the environment."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in place.items():
            patch.setenv(name, value)
        return liftseries("run", study, "--quiet", *words, alone=True)

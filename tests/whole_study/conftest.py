"""The demo series and a small one, each run once in a clean folder; the tests here share them on one worker."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import pandas as pd
import pytest
from studies import cell, changed, write_plan, write_study

from liftseries.cli import main
from liftseries.engine.processes import MARK as OF_A_RUN
from liftseries.engine.warm import ADDRESS, warmed

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "synthetic_data"
FEW = "plan: {resamples: 20, imputation: {sets: 2, iterations: 1}}"
SEPARATED = "twelve patients, complete separation, a row set aside"
UNITS = {"o1": "quernwick", "o2": "quernmoor"}  # names of operators that stand nowhere by chance
COMPARED = "comparison: {groups: approach, reference: freehand, adjust_for: [rbh_mid_mm]}"
MARK = "quern-"
WARM: dict[str, str] = {}  # tells runs of the process that is kept for all of them


@dataclass(frozen=True)
class Said:
    """What a command left: status and words."""

    status: int
    out: str
    err: str


@pytest.fixture(scope="session", autouse=True)
def warm_process(tmp_path_factory):
    """Libraries are loaded once for the runs of all tests here."""
    begun = {**os.environ, OF_A_RUN: "1", "PYTHONUTF8": "1"}
    with warmed(tmp_path_factory.mktemp("warm"), begun) as environment:
        WARM.update({ADDRESS: environment[ADDRESS]} if ADDRESS in environment else {})
        yield
    WARM.clear()


def liftseries(*words: str | Path, timeout: float = 1800, alone: bool = False) -> Said:
    """Runs the command as a user would; `alone`: its jobs have this environment, and no process that others use."""
    done = subprocess.run(
        [sys.executable, "-m", "liftseries.cli", *map(str, words)],
        capture_output=True,
        encoding="utf-8",
        timeout=timeout,
        env={**os.environ, "PYTHONUTF8": "1", **({} if alone else WARM)},
    )
    return Said(done.returncode, done.stdout, done.stderr)


def in_this_process(*words: str | Path) -> Said:
    """The same of a command that starts no other process, without the second that starting Python takes."""
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        status = main([*map(str, words)])
    return Said(status, out.getvalue(), err.getvalue())


def example_of(name: str, study: Path) -> list[str]:
    """The words of the example in a command's help, of that study in the demo's place."""
    lines = liftseries(name, "--help").out.splitlines()
    words = shlex.split(lines[lines.index("Example:") + 1])[1:]
    return [*(str(study) if word == "synthetic_data" else word for word in words), "--quiet"]


def rules_run(study: Path) -> set[str]:
    """The rules that the last run of Snakemake carried out."""
    words = (study / "output" / "logs" / "snakemake.log").read_text(encoding="utf-8")
    return set(re.findall(r"Finished jobid: \d+ \(Rule: (\w+)\)", words)) - {"everything"}


def copy_demo(folder: Path) -> Path:
    """The demo's study folder, without what a run left in it, asked for its publication alone: the others cost time."""
    study = Path(shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("output", "*.py", "__pycache__")))
    publication_alone(study / "study.yaml")
    return study


def publication_alone(plan: Path) -> None:
    """Rewrites the purpose of a demo's study.yaml."""
    text, n = re.subn(r"(?m)^purpose: .*$", "purpose: publication", plan.read_text(encoding="utf-8"))
    assert n == 1
    plan.write_text(text, encoding="utf-8")


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> tuple[Path, Said]:
    """The study folder after its first run, and what that run said."""
    study = copy_demo(tmp_path_factory.mktemp("demo") / "series")
    return study, liftseries("run", study, "--quiet")


@pytest.fixture(scope="session")
def part(tmp_path_factory) -> tuple[Path, Said]:
    """The study folder of a part of the demo after a run to all three reports, and what that run said."""
    from whole_study.part_of_the_demo import part_of_the_demo

    tables, plan = part_of_the_demo()
    study = tmp_path_factory.mktemp("part")
    for name, table in tables.items():
        table.to_csv(study / f"{name}.csv", index=False)
    write_plan(study, {name: f"{name}.csv" for name in tables}, plan)
    return study, liftseries("run", study, "--quiet")


def fourfold(table: pd.DataFrame) -> pd.DataFrame:
    """The rows four times over, each time with patients and sites of their own: twelve patients with sixteen sites.

    Keys are long enough that none of them stands in packed bytes by chance.
    """
    ids = [column for column in ("patient_id", "site_id") if column in table]
    copies = [table.assign(**{column: f"{MARK}{k}-" + table[column] for column in ids}) for k in range(4)]
    return pd.concat(copies, ignore_index=True)


def changes_of_separated() -> dict:
    """Every freehand site perforated but no guided one; operators with rare names; the first site's heights swapped."""

    def sites(table: pd.DataFrame) -> pd.DataFrame:
        perforation = table["approach"].map({"guided": "no", "freehand": "yes"})
        named = fourfold(table.assign(operator=table["operator"].map(UNITS), perforation=perforation))
        return cell(2, "rbh_min_mm", "8.8")(named)

    return {name: fourfold for name in ("patients", "steps", "visits")} | {"sites": sites}


@pytest.fixture(scope="session")
def separated(tmp_path_factory) -> tuple[Path, Said]:
    """The study folder of that series after its run, and what that run said."""
    study = tmp_path_factory.mktemp("separated") / "study"
    plan = f"purpose: [publication]\ninvalid_rows: set_aside\n{FEW.removesuffix('}')}, {COMPARED}}}"
    write_study(study, changes_of_separated(), plan=plan)
    return study, liftseries("run", study, "--quiet")


@dataclass(frozen=True)
class Replaced:
    """A study whose run replaced another, and what `changes` said before and after."""

    study: Path
    before: Said
    after: Said


@pytest.fixture(scope="session")
def replaced(separated, tmp_path_factory) -> Replaced:
    """A copy of that study and its run, run again with another age of one patient, who is four here."""
    study = shutil.copytree(separated[0], tmp_path_factory.mktemp("replaced") / "study", symlinks=True)
    before, patients = in_this_process("changes", study), study / "patients.csv"
    patients.write_text(patients.read_text(encoding="utf-8").replace(",54,", ",55,"), encoding="utf-8")
    assert liftseries("run", study, "--quiet").status == 0
    return Replaced(study, before, in_this_process("changes", study))


@pytest.fixture(scope="session")
def released(separated, tmp_path_factory) -> Path:
    """A copy of that study and its run, run again to all three reports and released."""
    study = shutil.copytree(separated[0], tmp_path_factory.mktemp("released") / "study", symlinks=True)
    plan = study / "study.yaml"
    written = plan.read_text(encoding="utf-8").replace(
        "purpose: [publication]", "purpose: [publication, comparison, audit]"
    )
    plan.write_text(written, encoding="utf-8")
    for command in ("run", "release"):
        said = liftseries(command, study, "--quiet")
        assert said.status == 0, said.err
    return study


@pytest.fixture(scope="session")
def keys_of_released() -> set[str]:
    """The keys of its patients and sites."""
    tables = changed(changes_of_separated())
    return {*tables["sites"]["site_id"], *tables["patients"]["patient_id"]}

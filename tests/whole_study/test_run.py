"""The whole job from a clean folder: outputs, reruns, and runs that must not meet."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
from filelock import FileLock
from whole_study.conftest import ROOT, liftseries

from liftseries.models.questions import questions_for

# The contract's words, letter for letter.
RESULTS = (
    "analysis,subset,term,method,headline,estimate,std_error,conf_low,conf_high,conf_level,p_value,df,scale,n_sites,"
    "n_patients,n_events,note,problem"
)
DERIVED_SITES = (
    "site_id,rbh_mid_mm,floor_slope_deg,protrusion_mm,dome_ml,planned_first_mm,planned_last_mm,planned_rungs,"
    "plan_problem,achieved_first_mm,achieved_last_mm,breakthrough_mm,first_error_mm,last_error_mm,overdrill_mm,ended,"
    "first_too_deep,advance_too_large,unguided_start,not_probed,probe_mismatch,drilled_after_open,overdrilled,"
    "speed_high,intended_missed,stop_misread"
)
DERIVED_STEPS = "stop_length_mm,depth_mm,deepest_before_mm,advance_mm,engagement_mm"
SET_ASIDE = "table,file,row,column,value_class,rule,message"


def header(path: Path) -> str:
    return path.read_text(encoding="utf-8").split("\n", maxsplit=1)[0]


def test_demo_runs_to_its_report(demo):
    study, said = demo
    assert (said.status, said.err) == (0, "")
    assert str(study / "output" / "report.html") in said.out
    for name in ("report.html", "supplement.html"):
        assert 100_000 < (study / "output" / name).stat().st_size < 3_000_000


def test_outputs_carry_the_contracts_names(demo):
    output = demo[0] / "output"
    assert header(output / "results.csv") == RESULTS
    assert header(output / "derived" / "sites.csv") == DERIVED_SITES
    assert header(output / "derived" / "steps.csv").endswith(DERIVED_STEPS)
    assert header(output / "set_aside.csv") == SET_ASIDE
    assert header(output / "oddities.csv") == "table,file,row,column,rule,message,accepted"
    for figure in output.glob("figures/*.svg"):
        assert figure.with_suffix(".pdf").is_file()
        assert figure.with_suffix(".png").is_file()
    assert {path.suffix for path in output.glob("tables/[!.]*")} == {".csv", ".docx"}


def test_results_hold_every_analysis_of_this_release(demo):
    results = pd.read_csv(demo[0] / "output" / "results.csv")
    asked = {analysis.name for question in questions_for(["publication"]) for analysis in question.analyses}
    asked.remove("sensitivity.filled_cells")  # only where empty cells were taken for an answer
    assert set(results["analysis"]) == {*asked, "clustering.design_effect"}
    # Whatever can be asked of a series of this size has an answer in it.
    answered = results.groupby("analysis")["estimate"].apply(lambda estimate: estimate.notna().any())
    assert answered.all(), answered[~answered]
    silent = results["estimate"].isna() & results["problem"].isna()
    assert not silent.any()
    assert not results.duplicated(["analysis", "subset", "term", "method"]).any()  # the key, by the contract


def test_manifest_covers_inputs_and_outputs(demo):
    output = demo[0] / "output"
    manifest = json.loads((output / "manifest.json").read_text(encoding="utf-8"))
    assert "study.yaml" in manifest["inputs"]
    folders = ("clean", "derived", "figures", "models", "tables")
    files = [path for name in folders for path in output.glob(f"{name}/**/[!.]*") if path.is_file()]
    left = {str(path.relative_to(output)) for path in files}
    pages = {f"{name}.{form}" for name in ("report", "supplement") for form in ("html", "pdf")}
    tables = {"results.csv", "set_aside.csv", "decisions.csv", "oddities.csv"}
    assert left | pages | tables | {"ro-crate-metadata.json"} == set(manifest["outputs"])


def test_second_run_does_nothing(demo):
    study, _ = demo
    before = {path: path.stat().st_mtime_ns for path in (study / "output").rglob("*")}
    before = {path: changed for path, changed in before.items() if path.name not in (".lock", ".hashed.json")}
    said = liftseries("run", study)
    after = {path: path.stat().st_mtime_ns for path in before}
    assert said.status == 0
    assert "Nothing has changed" in said.out
    assert after == before


def test_snakemake_in_the_checkout_sees_the_same_run(demo):
    """The command line and `snakemake --configfile` are two doors onto one workflow."""
    done = subprocess.run(
        [sys.executable, "-m", "snakemake", "--configfile", demo[0] / "study.yaml", "--dry-run"],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
    )
    assert done.returncode == 0, done.stderr
    assert "Nothing to be done" in done.stdout + done.stderr


def test_two_runs_refuse_each_other(demo):
    with FileLock(demo[0] / "output" / ".lock"):
        said = liftseries("run", demo[0])
    assert said.status == 1
    assert "another run is at work in this folder" in said.err
    assert "Traceback" not in said.err


def test_run_of_snakemake_itself_is_respected(demo):
    """A process with Snakemake's name in its command, at work in the output folder, not started by liftseries."""
    output = demo[0] / "output"
    sleeper = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(1800)", "snakemake"], cwd=output)
    try:
        said = liftseries("run", demo[0])
    finally:
        sleeper.kill()
        sleeper.wait()
    assert said.status == 1
    assert re.search(rf"another run \(process {sleeper.pid}\) is at work", said.err)

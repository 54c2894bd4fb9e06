"""What is kept of the run that another replaces, and what `changes` finds between the two."""

from __future__ import annotations

import json
import subprocess
import sys

import pandas as pd
import pytest
from studies import tables, write_study

from liftseries.base.errors import StudyError
from liftseries.base.outputs import write_csv
from liftseries.cli import main
from liftseries.engine.changes import changes_of
from liftseries.engine.earlier import EARLIER, keep_earlier, kept_earlier
from liftseries.engine.provenance import MANIFEST, output_hashes
from liftseries.models.shared.results import RESULT_COLUMNS
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan
from liftseries.study.schema import TABLES

SECRET = "quern words of a cell"


def finish(study, drawn, estimates) -> None:
    """Leaves what a finished run of these tables would: clean/, results.csv, manifest.json."""
    plan = read_plan(study)
    for name in TABLES:
        write_csv(plan.output / "clean" / f"{name}.csv", drawn[name])
    results = pd.DataFrame(estimates, columns=["subset", "term", "headline", "estimate"])
    results = results.assign(analysis="perforation.rate", method="patients", std_error=0.1)
    write_csv(plan.output / "results.csv", results.reindex(columns=list(RESULT_COLUMNS)))
    manifest = {
        "plan": plan.as_written,
        "inputs": input_hashes(plan),
        "outputs": output_hashes(plan.output, ["clean", "results.csv"]),
        "between": {},
    }
    (plan.output / MANIFEST).write_text(json.dumps(manifest), encoding="utf-8")


BEFORE = [
    ("all", "rate", True, 0.2),
    ("all", "kept", True, 0.5),
    ("all", "went", True, 0.1),
    ("all", "aside", False, 1),
]
AFTER = [
    ("all", "kept", True, 0.5),
    ("all", "came", True, 0.3),
    ("all", "rate", True, 0.25),
    ("all", "aside", False, 2),
]


@pytest.fixture
def study(tmp_path):
    """A study whose run was finished, and whose file of patients then changed."""
    folder = write_study(tmp_path / "study")
    finish(folder, tables(), BEFORE)
    with (folder / "patients.csv").open("a", encoding="utf-8") as file:
        file.write("\n")
    return folder


def replaced(study, drawn) -> pd.DataFrame:
    keep_earlier(read_plan(study))
    finish(study, drawn, AFTER)
    return changes_of(study / "output")


def changed_tables() -> dict[str, pd.DataFrame]:
    drawn = tables()
    patients = drawn["patients"].copy()
    patients.loc[0, "centre"] = SECRET
    patients["age_years"] = patients["age_years"] + ".0"  # the same numbers
    drawn["patients"] = pd.concat([patients.iloc[::-1], patients.iloc[:1].assign(patient_id="p9")])
    drawn["steps"] = drawn["steps"].iloc[1:]
    return drawn


def test_rows_are_new_gone_and_changed_by_key(study):
    rows = replaced(study, changed_tables()).rows.set_index("table")
    assert rows.loc["patients"].tolist() == [1, 0, 1]
    assert rows.loc["steps"].tolist() == [0, 1, 0]
    assert rows.loc["sites"].tolist() == [0, 0, 0]  # shuffled rows and another way to write a number are none
    assert rows.loc["results.csv"].tolist() == [1, 1, 1]


def test_cells_are_named_by_key_and_column_without_their_values(study):
    cells = replaced(study, changed_tables()).cells
    of_patients = cells[cells["table"] == "patients"]
    assert of_patients[["key", "column", "change"]].values.tolist() == [["p9", "", "new"], ["p1", "centre", "changed"]]
    assert cells[cells["table"] != "results.csv"][["before", "after"]].isna().all(axis=None)
    assert cells.loc[cells["table"] == "steps", "key"].tolist() == ["s1 / 1"]


def test_headlines_moved_new_and_gone(study):
    found = replaced(study, tables()).headlines.set_index("term")
    assert found["change"].to_dict() == {"kept": "as before", "came": "new", "rate": "moved", "went": "gone"}
    assert found.loc["rate", ["before_estimate", "after_estimate", "by"]].tolist() == pytest.approx([0.2, 0.25, 0.5])


def test_a_column_that_came_changes_the_rows_that_have_it(study):
    drawn = tables()
    drawn["sites"] = drawn["sites"].assign(flapless=["yes", "", "", ""])
    cells = replaced(study, drawn).cells
    assert cells.loc[cells["table"] == "sites", ["key", "column"]].values.tolist() == [["s1", "flapless"]]


def test_every_row_may_be_gone(study):
    drawn = tables()
    gone = {name: table.iloc[:0] for name, table in drawn.items()}
    rows = replaced(study, gone).rows.set_index("table")
    assert rows["gone"].drop("results.csv").to_dict() == {name: len(drawn[name]) for name in TABLES}


def test_what_a_run_begins_with_loads_no_tables():
    """Half a second, before Snakemake starts."""
    code = "import sys, liftseries.engine.run; print(*{'numpy', 'pandas', 'scipy'} & {*sys.modules})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.split() == []


@pytest.mark.parametrize("edit", ["none", "a comment"])
def test_the_same_files_and_plan_replace_nothing(tmp_path, edit):
    folder = write_study(tmp_path / "study")
    finish(folder, tables(), BEFORE)
    if edit == "a comment":
        (folder / "study.yaml").open("a").write("# a remark\n")
    keep_earlier(read_plan(folder))
    assert not (folder / "output" / EARLIER).exists()
    assert changes_of(folder / "output") is None


def test_a_changed_plan_replaces_and_its_key_is_named(tmp_path):
    folder = write_study(tmp_path / "study")
    finish(folder, tables(), BEFORE)
    (folder / "study.yaml").open("a").write("\nplan: {step_mm: 0.5}\n")
    assert "plan.step_mm" in replaced(folder, tables()).plan


def test_a_run_that_failed_between_leaves_what_was_kept(study):
    keep_earlier(read_plan(study))
    kept = kept_earlier(study / "output")
    (study / "output" / "clean" / "patients.csv").write_text("patient_id\n", encoding="utf-8")  # half a later run
    keep_earlier(read_plan(study))
    assert kept_earlier(study / "output") == kept != ""


@pytest.mark.parametrize("name", ["results.csv", "clean/sites.csv", "earlier/results.csv", "earlier/clean/sites.csv"])
def test_edited_files_are_not_compared(study, name):
    replaced(study, tables())
    (study / "output" / name).write_text("a,b\n1\n", encoding="utf-8")
    with pytest.raises(StudyError, match="not as its run left it"):
        changes_of(study / "output")


def test_the_command_tells_counts_and_no_cell(study, tmp_path, capsys):
    replaced(study, changed_tables())
    listed = tmp_path / "listed.csv"
    assert main(["changes", str(study), "--list", str(listed)]) == 0
    said = capsys.readouterr().out
    assert "patients: 1 row new, 0 gone, 1 changed (centre 1)" in said
    assert "perforation.rate, rate, patients: 0.2 before, 0.25 now" in said
    assert SECRET not in said + listed.read_text(encoding="utf-8")
    assert len(pd.read_csv(listed)) == 6
    assert main(["changes", str(study)]) == main(["changes", str(study)]) == 0
    first, second = capsys.readouterr().out.split("Next:")[:2]
    assert first.splitlines() == second.splitlines()[1:]


@pytest.mark.parametrize("where", ["study/patients.csv", "study/output/results.csv", "list.xlsx"])
def test_the_list_overwrites_nothing(study, where):
    before = (study / "patients.csv").read_bytes()
    assert main(["changes", str(study), "--list", str(study.parent / where)]) == 2
    assert (study / "patients.csv").read_bytes() == before


def test_without_a_run_the_command_says_so(tmp_path, capsys):
    folder = write_study(tmp_path / "study")
    assert main(["changes", str(folder)]) == 2
    (folder / "output").mkdir()
    assert main(["changes", str(folder)]) == 1
    assert "holds no finished run" in capsys.readouterr().err

"""A run that replaces another: what it keeps of it, what `changes` says, what it does again; a centre's own report."""

from __future__ import annotations

import json
import shutil

import pytest
from whole_study.conftest import in_this_process, liftseries, rules_run


def test_a_second_run_tells_what_changed_and_a_third_keeps_it(replaced):
    study, said, told = replaced.study, replaced.before, replaced.after.out
    assert (said.status, said.out.startswith("No run before the last one was kept")) == (0, True)
    assert "patients: 0 rows new, 0 gone, 4 changed (age_years 4)" in told
    supplement = (study / "output" / "supplement.html").read_text(encoding="utf-8")
    assert "rows of tables changed: patients (0 new, 0 gone, 4 changed)." in supplement
    named = json.loads((study / "output" / "manifest.json").read_text(encoding="utf-8"))
    assert [name for name in {**named["outputs"], **named["between"]} if "earlier" in name] == ["earlier/since.csv"]

    (study / "study.yaml").open("a", encoding="utf-8").write("# a remark\n")
    assert liftseries("run", study, "--quiet").status == 0
    assert "find_changes" not in rules_run(study)
    assert (
        in_this_process("changes", study).out.splitlines()[1:] == told.splitlines()[1:]
    )  # but for the files that differ


def test_a_centre_has_a_report_of_its_own_rows(separated, tmp_path):
    study = shutil.copytree(separated[0], tmp_path / "study", symlinks=True)
    before = (study / "output" / "manifest.json").read_bytes()
    assert liftseries("run", study, "--centre", "south", "--quiet").status == 0
    output = study / "output" / "centres" / "south"
    assert (output / "report.html").is_file()
    assert "north" not in (output / "clean" / "patients.csv").read_text(encoding="utf-8")
    assert (study / "output" / "manifest.json").read_bytes() == before
    assert "Nothing has changed" in liftseries("run", study, "--quiet").out
    assert "Nothing has changed" in liftseries("run", study, "--centre", "south", "--quiet").out


LAST = {"collect_results", "find_changes", "report", "second_opinion", "write_manifest", "write_models"}


@pytest.mark.parametrize(
    ("key", "rules"),
    [
        ("gain_terms: [protrusion_mm]", {"gain", "draw_gain"}),
        (
            "survival_terms: [rbh_mid_mm]",
            {"survival", "survival_imputed_draws", "survival_resampled", "draw_survival", "sensitivity"},
        ),
    ],
)
def test_changed_plan_key_reruns_only_what_reads_it(replaced, key, rules):
    plan = replaced.study / "study.yaml"
    words = plan.read_text(encoding="utf-8")
    assert "resamples: 20," in words
    assert key not in words
    plan.write_text(words.replace("resamples: 20,", f"resamples: 20, {key},"), encoding="utf-8")
    said = liftseries("run", replaced.study)
    assert said.status == 0
    assert rules_run(replaced.study) == rules | LAST

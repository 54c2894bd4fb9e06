"""A run that replaces another: what it keeps of it, what `changes` and the supplement say, and that none leaves."""

from __future__ import annotations

import json
import shutil

from whole_study.conftest import liftseries, rules_run


def test_a_second_run_tells_what_changed_and_a_third_keeps_it(separated, tmp_path):
    study = shutil.copytree(separated[0], tmp_path / "study", symlinks=True)
    said = liftseries("changes", study)
    assert (said.status, said.out.startswith("No run before the last one was kept")) == (0, True)
    patients = study / "patients.csv"
    patients.write_text(patients.read_text(encoding="utf-8").replace(",54,", ",55,"), encoding="utf-8")
    assert liftseries("run", study, "--quiet").status == 0
    told = liftseries("changes", study).out
    assert "patients: 0 rows new, 0 gone, 4 changed (age_years 4)" in told
    supplement = (study / "output" / "supplement.html").read_text(encoding="utf-8")
    assert "rows of tables changed: patients (0 new, 0 gone, 4 changed)." in supplement
    named = json.loads((study / "output" / "manifest.json").read_text(encoding="utf-8"))
    assert [name for name in {**named["outputs"], **named["between"]} if "earlier" in name] == ["earlier/since.csv"]

    (study / "study.yaml").open("a", encoding="utf-8").write("# a remark\n")
    assert liftseries("run", study, "--quiet").status == 0
    assert "find_changes" not in rules_run(study)
    assert liftseries("changes", study).out.splitlines()[1:] == told.splitlines()[1:]  # but for the files that differ

    assert liftseries("release", study, "--quiet").status == 0
    left = [path for path in (study / "release").rglob("*") if path.is_file()]
    assert not [path for path in left if "earlier" in path.parts or path.name == "since.csv"]
    pages = [path.read_text(encoding="utf-8") for path in left if path.suffix == ".html"]
    assert pages
    assert not [page for page in pages if "Since the run before" in page]


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

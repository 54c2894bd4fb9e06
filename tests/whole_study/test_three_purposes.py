"""One study asked for all three reports: one run builds them, and says where each lies."""

import json

import pandas as pd

from liftseries.models.questions import questions_for


def test_one_run_builds_three_reports(part):
    study, said = part
    assert (said.status, said.err) == (0, "")
    for folder in ("", "comparison/", "audit/"):
        for name in ("report.html", "report.pdf", "supplement.html", "supplement.pdf"):
            assert (study / "output" / folder / name).stat().st_size > 1000
        assert str(study / "output" / folder / "report.html") in said.out


def test_results_and_manifest_hold_all_of_them(part):
    output = part[0] / "output"
    results = pd.read_csv(output / "results.csv")
    asked = {analysis.name for question in questions_for(["comparison", "audit"]) for analysis in question.analyses}
    missing = {name for name in asked if name.startswith(("comparison.", "audit."))} - set(results["analysis"])
    assert not missing
    assert not results.duplicated(["analysis", "subset", "term", "method"]).any()
    assert not (results["estimate"].isna() & results["problem"].isna()).any()
    left = set(json.loads((output / "manifest.json").read_text(encoding="utf-8"))["outputs"])
    for folder in ("comparison", "audit"):
        files = {str(path.relative_to(output)) for path in (output / folder).rglob("[!.]*") if path.is_file()}
        assert files
        assert files <= left

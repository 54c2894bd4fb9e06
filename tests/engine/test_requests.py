"""What a rule asks a cluster for grows with the study and with each attempt."""

from __future__ import annotations

import shutil

import pytest
from studies import write_study

from liftseries.engine.questions import pooling_jobs, quick_jobs, resampling
from liftseries.engine.requests import measured, requested, size_mb
from liftseries.report.purposes import report_job
from liftseries.study.plan import read_plan

RULES = [*measured()["rules"], "of_another_name"]
MOST_OF_A_NODE_MB = 16_000


def asked(rule: str, size: float, attempt: int) -> dict[str, int]:
    return {name: ask(wildcards=None, attempt=attempt) for name, ask in requested(rule, size).items()}


@pytest.mark.parametrize("rule", RULES)
def test_requests_grow_with_the_attempt(rule):
    first, second = asked(rule, 5.0, 1), asked(rule, 5.0, 2)
    assert second["mem_mb"] >= 2 * first["mem_mb"] - 1  # rounded up
    assert second["runtime"] >= first["runtime"]
    assert asked(rule, 500.0, 2)["runtime"] >= asked(rule, 500.0, 1)["runtime"]


@pytest.mark.parametrize("rule", ["check_tables", "derive_depths", "of_another_name"])
def test_requests_grow_with_the_study(rule):
    small, large = asked(rule, 0.5, 1), asked(rule, 5000.0, 1)
    assert large["mem_mb"] > small["mem_mb"]
    assert large["runtime"] > small["runtime"]


@pytest.mark.parametrize("rule", RULES)
def test_no_rule_asks_for_less_than_was_measured(rule):
    cost = measured()["rules"].get(rule, measured()["others"])
    base, factor = cost["memory_mb"]
    assert asked(rule, 7.0, 1)["mem_mb"] >= base + 7 * factor
    assert asked(rule, 7.0, 1)["runtime"] * 60 >= cost["seconds"][0] + 7 * cost["seconds"][1]


def test_a_small_series_fits_any_node():
    assert max(asked(rule, 0.5, 3)["mem_mb"] for rule in RULES) < MOST_OF_A_NODE_MB


def test_a_file_counts_for_what_it_holds(tmp_path):
    import pandas as pd

    study = write_study(tmp_path / "study")
    before = size_mb(read_plan(study))
    assert before == pytest.approx(sum(path.stat().st_size for path in study.glob("*.csv")) / 1e6)
    table = study / "patients.csv"
    pd.read_csv(table).to_parquet(study / "patients.parquet")
    words = (study / "study.yaml").read_text(encoding="utf-8")
    (study / "study.yaml").write_text(words.replace("patients.csv", "patients.parquet"), encoding="utf-8")
    packed = (study / "patients.parquet").stat().st_size * measured()["packed"]
    assert size_mb(read_plan(study)) == pytest.approx(before + (packed - table.stat().st_size) / 1e6)
    shutil.rmtree(study)


def test_costs_are_those_of_rules_that_there_are(tmp_path):
    """An entry under another name would ask for nothing."""
    plan = read_plan(write_study(tmp_path, plan="purpose: [publication, comparison, audit]"))
    drawn = {f"{question.name}_draws" for question in resampling()}
    made = {job.name for job in (*quick_jobs(plan), *pooling_jobs(plan))} | drawn | {*map(report_job, plan.purpose)}
    from liftseries.base.home import folder

    written = "\n".join(path.read_text(encoding="utf-8") for path in (folder("workflow") / "rules").glob("*.smk"))
    for rule in measured()["rules"]:
        assert rule in made or f"rule {rule}:" in written or rule.startswith("draw_"), rule

"""A committee's indicators.yaml beside study.yaml: standards of shipped indicators, indicators of its own, refusals."""

from __future__ import annotations

import pytest
from studies import write_study

from liftseries.base.errors import StudyError
from liftseries.engine.questions import plan_value
from liftseries.study.indicators import OWN_FILE, Indicator, indicators, indicators_with
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan

AUDIT = "purpose: audit\n"
SEPTA = """
  septa: {title: Septum, means: Sites with a septum., counts: sites, numerator: septum == 'yes', good: low}
"""
HELD = "kind: committee, source: minutes, date: 2026-03"


def planned(folder, own: str | None, plan: str = AUDIT):
    study = write_study(folder / "study", plan=plan)
    if own is not None:
        (study / OWN_FILE).write_text(own, encoding="utf-8")
    return read_plan(study)


def of(plan) -> dict[str, Indicator]:
    return {one.name: one for one in indicators_with(plan_value(plan, "audit.own_indicators"))}


def test_without_the_file_the_shipped_ones_stand(tmp_path):
    assert tuple(of(planned(tmp_path, None)).values()) == indicators()


def test_a_standard_is_changed_and_an_indicator_added_and_asked_for(tmp_path):
    own = f"indicators:{SEPTA}  perforation: {{standard: {{value: 0.08, {HELD}}}}}\n"
    plan = planned(tmp_path, own, f"{AUDIT}plan: {{audit: {{indicators: [septa, perforation]}}}}")
    found = of(plan)
    assert list(found)[-1] == "septa"
    assert len(found) == len(indicators()) + 1
    assert found["perforation"].standard.value == 0.08
    assert found["perforation"].numerator == "perforation == 'yes'"
    assert "septa" in plan.every_schema["actions"].columns["indicator"].levels
    assert OWN_FILE in input_hashes(plan)


def test_a_publication_reads_no_such_file(tmp_path):
    plan = planned(tmp_path, "not: for it", "purpose: publication\n")
    assert OWN_FILE not in input_hashes(plan)


def test_the_tables_alone_do_not_hang_on_it(tmp_path):
    """A changed standard must not read the tables anew."""
    plan = planned(tmp_path, f"indicators:{SEPTA}")
    assert plan.folder / OWN_FILE in plan.files()
    assert plan.folder / OWN_FILE not in plan.files("patients", "sites")


def test_a_standard_for_each_month(tmp_path):
    own = f"indicators: {{survival: {{standard: {{value: {{12: 0.95, 60: 0.9}}, {HELD}}}}}}}"
    standard = of(planned(tmp_path, own))["survival"].standard
    assert [standard.at(month).value for month in (12.0, 60.0, 36.0)] == [0.95, 0.9, None]
    assert standard.at(36.0).kind == "none"
    assert standard.at(12.0).source == "minutes"


@pytest.mark.parametrize(
    ("own", "says"),
    [
        ("indicators: {perforatoin: {standard: {kind: none}}}", 'Did you mean "perforation"?'),
        ("indicators: {perforation: {standart: {kind: none}}}", 'Did you mean "standard"?'),
        ("indicators: {perforation: {numerator: perforation_tset == 'none'}}", 'Did you mean "perforation_test"?'),
        ('indicators: {perforation: {numerator: "().__class__"}}', "is no comparison of columns"),
        ("indicators: {perforation: {title: 5}}", "is no text"),
        ("indicators: {perforation: {title: [a]}}", "is no text"),
        ("indicators: {perforation: 0.08}", "holds no keys"),
        ("indicators: {perforation: {standard: 0.08}}", "holds no keys"),
        ("indicators: {columns_filled: {cells: [a]}}", "column: where"),
        (f"indicators: {{perforation: {{standard: {{value: {{12: 0.1}}, {HELD}}}}}}}", "has one month or none"),
        (f"indicators: {{survival: {{standard: {{value: {{a: 0.1}}, {HELD}}}}}}}", "needs a value"),
        (f"indicators: {{survival: {{standard: {{value: {{}}, {HELD}}}}}}}", "needs a value"),
        ("indicators: {A b: {counts: sites, good: low}}", "small letters"),
        ("indicators: [perforation]", "holds `indicators:` and nothing else"),
        ("indicator: {}", "holds `indicators:` and nothing else"),
        ("", "holds no keys"),
        ("indicators: {a: [", "not YAML"),
    ],
)
def test_a_wrong_file_is_refused_with_its_place(tmp_path, own, says):
    with pytest.raises(StudyError) as caught:
        planned(tmp_path, own)
    assert says in str(caught.value)
    assert OWN_FILE in str(caught.value)


def test_a_name_asked_for_that_is_none_is_told_with_the_nearest(tmp_path):
    with pytest.raises(StudyError, match='Did you mean "septa"'):
        planned(tmp_path, f"indicators:{SEPTA}", f"{AUDIT}plan: {{audit: {{indicators: [septas]}}}}")


def test_file_and_plan_do_not_both_hold_them(tmp_path):
    plan = f"{AUDIT}plan: {{audit: {{own_indicators: {{perforation: {{title: Tear}}}}}}}}"
    assert of(planned(tmp_path / "a", None, plan))["perforation"].title == "Tear"
    with pytest.raises(StudyError, match="one place"):
        planned(tmp_path / "b", f"indicators:{SEPTA}", plan)

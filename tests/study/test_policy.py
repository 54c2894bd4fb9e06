"""What a committee does with a flag: the default by kind of unit, a committee's own, and a wrong one."""

from __future__ import annotations

import pytest

from liftseries.base.errors import StudyError
from liftseries.study.plan import read_plan


def plan_of(folder, text):
    tables = "tables: {patients: p.csv, sites: s.csv, instruments: i.csv, stops: t.csv}\n"
    (folder / "study.yaml").write_text(tables + text, encoding="utf-8")
    return read_plan(folder)


def test_by_default_a_talk_comes_first_for_operators_and_the_outlier_stages_for_other_units(tmp_path):
    def stages(text):
        return plan_of(tmp_path, text).audit["policy"]["stages"]

    outlier_stages = ["Data quality", "Case mix", "Chance", "Cause"]
    assert [stage["name"] for stage in stages("")] == ["Confidential talk", *outlier_stages]
    for by in ("centre", "protocol"):
        assert [stage["name"] for stage in stages(f"plan: {{audit: {{by: {by}}}}}")] == outlier_stages
    for stage in stages(""):
        assert list(stage) == ["name", "who", "working_days", "what"]
        assert stage["working_days"] >= 1
    plan = plan_of(tmp_path, "")
    assert plan.as_written["plan"]["audit"]["policy"] == plan.audit["policy"]  # printed and hashed
    assert "no judgement" in plan.audit["policy"]["flag_means"]


def test_a_committees_own_stages_and_words_take_their_place(tmp_path):
    own = "{stages: [{name: Letter, who: chair, working_days: 3, what: the unit is told}], flag_means: look twice}"
    policy = plan_of(tmp_path, f"plan: {{audit: {{by: centre, policy: {own}}}}}").audit["policy"]
    assert policy["stages"] == [{"name": "Letter", "who": "chair", "working_days": 3, "what": "the unit is told"}]
    assert policy["flag_means"] == "look twice"


POLICY = "study.yaml, plan, audit, policy"
TALK = "{name: Talk, who: chair, working_days: 3, what: ask}"


@pytest.mark.parametrize(
    ("policy", "told"),
    [
        ("talk first", [f"{POLICY}: expected keys with values, found a text. Correct the value."]),
        ("{stage: []}", [f'{POLICY}: "stage" is not a known key. Did you mean "stages"?']),
        ("{flag_means: ''}", [f"{POLICY}, flag_means: is empty. Fill it in or leave the key out."]),
        ("{stages: talk}", [f"{POLICY}, stages: expected a list, found a text. Correct the value."]),
        (
            "{stages: [talk]}",
            [f"{POLICY}, stages, entry 1: expected keys with values, found a text. Correct the value."],
        ),
        (
            f"{{stages: [{TALK}, {{name: Data, working_days: 3}}]}}",
            [f'{POLICY}, stages, entry 2: the key "{key}" is missing. Add it.' for key in ("who", "what")],
        ),
        (
            f"{{stages: [{TALK.replace('3', '0')}]}}",
            [f"{POLICY}, stages, entry 1, working_days: 0 is below 1. Correct the value."],
        ),
        (
            f"{{stages: [{TALK.replace('3', 'three')}]}}",
            [f"{POLICY}, stages, entry 1, working_days: expected a whole number, found a text. Correct the value."],
        ),
        (
            f"{{stages: [{TALK.replace('who', 'whom')}]}}",
            [
                f'{POLICY}, stages, entry 1: "whom" is not a known key. Did you mean "who"?',
                f'{POLICY}, stages, entry 1: the key "who" is missing. Add it.',
            ],
        ),
        (
            f"{{stages: [{TALK}, {TALK.replace('Talk', 'talk ')}]}}",
            [f"{POLICY}, stages, entry 2, name: the name is that of entry 1 too. Give each stage its own."],
        ),
    ],
)
def test_a_wrong_policy_is_told_with_its_place(tmp_path, policy, told):
    with pytest.raises(StudyError) as caught:
        plan_of(tmp_path, f"plan: {{audit: {{policy: {policy}}}}}")
    assert sorted(str(problem) for problem in caught.value.problems) == sorted(told)

"""What a twin's plan takes over of the study's own."""

from __future__ import annotations

from liftseries.study.plan_shape import plan_schema, with_defaults
from liftseries.twin.labels import relabelled_plan


def test_no_unit_that_an_audit_names_goes_along():
    audit = {"expected": {"north": {2024: 40}}, "limits": {"o1": {"up": 3.2}}, "by": "centre"}
    plan = with_defaults({"plan": {"audit": audit}}, plan_schema())["plan"]
    told = relabelled_plan(plan, {})["audit"]
    assert (told["expected"], told["limits"], told["by"]) == ({}, {}, "centre")
    assert "north" not in str(told)

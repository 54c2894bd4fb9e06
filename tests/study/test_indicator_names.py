"""Indicators that a plan names."""

from __future__ import annotations

from liftseries.study.plan_content import content_problems
from liftseries.study.plan_shape import plan_schema, with_defaults


def problems(tmp_path, **audit) -> list[str]:
    tables = {"patients": ["p.csv"], "sites": ["s.csv"], "instruments": ["i.csv"], "stops": ["t.csv"]}
    written = {"purpose": ["audit"], "tables": tables, "plan": {"audit": audit}}
    return [str(problem) for problem in content_problems(with_defaults(written, plan_schema()), tmp_path)]


def test_an_indicator_that_is_none_is_told_the_nearest(tmp_path):
    told = problems(tmp_path, indicators=["perforations", "survival"])
    place = "study.yaml, plan, audit, indicators"
    assert f'{place}: "perforations" is no indicator. Did you mean "perforation"?' in told
    assert not [line for line in told if '"survival"' in line]


def test_shipped_indicators_have_no_problem(tmp_path):
    assert not [line for line in problems(tmp_path) if "indicators" in line]

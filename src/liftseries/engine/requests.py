"""Memory and time that each rule asks a cluster for, from costs that were measured: `workflow/requests.yaml`.

    asked = (base + factor * size) * margin * attempt

The size is that of the study's tables, known before any job has run: a size of a rule's inputs would be unknown for
jobs that are submitted together with those that write them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from typing import Any

from liftseries.base.home import folder
from liftseries.study.plan import Plan

PACKED = {".parquet", ".xlsx", ".xlsm", ".ods"}


@cache
def measured() -> dict[str, Any]:
    """The content of `workflow/requests.yaml`."""
    import yaml

    return yaml.safe_load((folder("workflow") / "requests.yaml").read_text(encoding="utf-8"))


def size_mb(plan: Plan) -> float:
    """What the study's tables take as CSV, MB; files that are packed count for what they hold."""
    sizes = {path: path.stat().st_size for path in plan.files() if path.is_file()}
    return (
        sum(size * (measured()["packed"] if path.suffix.lower() in PACKED else 1) for path, size in sizes.items()) / 1e6
    )


def requested(rule: str, size: float) -> dict[str, Callable[..., int]]:
    """What Snakemake takes as a rule's `resources`.

    Parameters
    ----------
    rule : its name
    size : of the study, MB

    Returns
    -------
    mem_mb : function of wildcards and attempt, MB
    runtime : function of wildcards and attempt, minutes
    """
    cost = measured()["rules"].get(rule, measured()["others"])

    def mem_mb(wildcards, attempt: int) -> int:
        return _asked(cost["memory_mb"], size, attempt)

    def runtime(wildcards, attempt: int) -> int:
        return measured()["start_minutes"] + math.ceil(_asked(cost["seconds"], size, attempt) / 60)

    return {"mem_mb": mem_mb, "runtime": runtime}


def longest_first(rule: str) -> int:
    """A rule's priority: its seconds in a small study, so that no long job is left to be done alone at the end."""
    return round(measured()["rules"].get(rule, measured()["others"])["seconds"][0])


def _asked(cost: list[float], size: float, attempt: int) -> int:
    base, factor = cost
    return math.ceil((base + factor * size) * measured()["margin"] * attempt)

"""How long a run would take on a cluster: list scheduling of its jobs, from the costs in `workflow/requests.yaml`.

    python tests/benchmarks/cluster_plan.py [--nodes 1 10 100] [--cores 16] [--memory 64]

The jobs and what waits for what are Snakemake's own, of the demo with all three reports. A job takes base + factor ×
MB; those that are ready start in the order of the longest way to the end, each on one core of a node that has the
memory left. Each waits START seconds for its submission, two starts of Snakemake and the question whether it has ended.
Beyond the sizes at which costs were measured they are drawn out as a line, which is the weakest point of it.
"""

from __future__ import annotations

import argparse
import heapq
import re
import subprocess
import sys
from collections import defaultdict
from functools import cache
from pathlib import Path

from liftseries.engine.requests import measured

ROOT = Path(__file__).parents[2]
SITES = (10_000, 100_000, 1_000_000, 10_000_000)
MB_A_SITE = 0.00086  # of the demo's tables as CSV
START = 15.0  # seconds
JOB = re.compile(r'^\s*(\d+)\[label = "(\w+)', re.M)
WAITS = re.compile(r"^\s*(\d+) -> (\d+)", re.M)


def jobs() -> tuple[dict[str, str], dict[str, set[str]]]:
    """Job -> its rule, and job -> those it waits for."""
    command = [
        "snakemake",
        "--snakefile",
        ROOT / "workflow/Snakefile",
        "--configfile",
        ROOT / "synthetic_data/study.yaml",
    ]
    done = subprocess.run(
        [sys.executable, "-m", *command, "--dag", "--forceall"], capture_output=True, encoding="utf-8", check=True
    )
    rules = dict(JOB.findall(done.stdout))
    needs = defaultdict(set)
    for first, then in WAITS.findall(done.stdout):
        needs[then].add(first)
    return rules, needs


def cost(rule: str, what: str, mb: float) -> float:
    base, factor = measured()["rules"].get(rule, measured()["others"])[what]
    return 0.0 if rule == "everything" else base + factor * mb


def simulated(rules, needs, mb: float, nodes: int, cores: int, memory_gb: float) -> dict[str, object]:
    """Wall time of a size on a cluster, the longest way through it, and what that way mostly consists of."""
    follow = defaultdict(set)
    for then, firsts in needs.items():
        for first in firsts:
            follow[first].add(then)
    takes = {job: cost(rule, "seconds", mb) + START for job, rule in rules.items()}
    holds = {job: cost(rule, "memory_mb", mb) / 1000 for job, rule in rules.items()}

    @cache
    def to_end(job: str) -> float:
        return takes[job] + max((to_end(then) for then in follow[job]), default=0.0)

    unfit = sorted({rules[job] for job, gb in holds.items() if gb > memory_gb})
    wall = _scheduled(rules, needs, follow, takes, holds, to_end, [[cores, memory_gb] for _ in range(nodes)])
    way, job = [], max(rules, key=to_end)
    while job:
        way.append(job)
        job = max(follow[job], key=to_end, default=None)
    worst = max(way, key=takes.get)
    return {
        "wall": wall,
        "longest": to_end(way[0]),
        "work": sum(takes.values()),
        "worst": f"{rules[worst]} {takes[worst] / to_end(way[0]):.0%}",
        "memory": max(holds.values()),
        "unfit": unfit,
    }


def _scheduled(rules, needs, follow, takes, holds, to_end, free: list[list[float]]) -> float:
    """Seconds until all is done; a job that no node can hold is given a whole one."""
    whole = free[0][1]
    waiting = {job: len(needs[job]) for job in rules}
    ready = sorted((job for job in rules if not waiting[job]), key=to_end, reverse=True)
    running, now = [], 0.0
    while ready or running:
        left = []
        for job in ready:
            gb = min(holds[job], whole)
            node = next((node for node in free if node[0] >= 1 and node[1] >= gb), None)
            if node is None:
                left.append(job)
                continue
            node[0], node[1] = node[0] - 1, node[1] - gb
            heapq.heappush(running, (now + takes[job], job, gb, id(node)))
        now, job, gb, place = heapq.heappop(running)
        node = next(node for node in free if id(node) == place)
        node[0], node[1] = node[0] + 1, node[1] + gb
        for then in follow[job]:
            waiting[then] -= 1
            if not waiting[then]:
                left.append(then)
        ready = sorted(left, key=to_end, reverse=True)
    return now


def main() -> None:
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--nodes", type=int, nargs="+", default=[1, 10, 100])
    arguments.add_argument("--cores", type=int, default=16)
    arguments.add_argument("--memory", type=float, default=64, help="of a node, GB")
    asked = arguments.parse_args()
    rules, needs = jobs()
    print("| sites | CSV, MB | " + " | ".join(f"{n} nodes, min" for n in asked.nodes), end="")
    print(
        " | longest way, min | all jobs, min | of the longest way | largest job, GB |\n"
        + "|---" * (6 + len(asked.nodes))
        + "|"
    )
    for sites in SITES:
        mb = sites * MB_A_SITE
        found = [simulated(rules, needs, mb, n, asked.cores, asked.memory) for n in asked.nodes]
        one = found[-1]
        walls = " | ".join(f"{each['wall'] / 60:.1f}" for each in found)
        beyond = f" ({len(one['unfit'])} rules too large for a node)" if one["unfit"] else ""
        print(
            f"| {sites:,} | {mb:,.0f} | {walls} | {one['longest'] / 60:.1f} | {one['work'] / 60:.1f} | {one['worst']} |"
            f" {one['memory']:.1f}{beyond} |"
        )


if __name__ == "__main__":
    main()

"""Runs whose jobs run elsewhere: the profile of Snakemake that says where, and what such jobs have to be told.

A profile is a folder with Snakemake's `config.yaml`. Jobs and the run share a file system, on which the study, its
output folder and the installed Python lie at the same paths. They start a Python of their own: the warm process is the
machine's on which the run was started.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from liftseries.base.errors import UsageError, did_you_mean
from liftseries.base.home import folder
from liftseries.base.outputs import write_text
from liftseries.engine.warm import ADDRESS
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import Plan

BEGUN = Path("logs/begun.json")
PATIENCE = 30  # seconds
FILES = ("config.yaml", "profile.yaml")  # either is Snakemake's
ANSWERS = {"slurm": ["sinfo", "--noheader"]}  # executor -> what says whether its cluster is reached


def shipped() -> list[str]:
    """Names of the profiles that come with liftseries; `default` is for those who start Snakemake by hand."""
    return sorted(path.name for path in (folder("workflow") / "profiles").iterdir() if path.name != "default")


def profile_folder(named: str) -> Path:
    """The folder of a profile that is shipped, or of one's own by its path; what it needs is there.

    Raises
    ------
    UsageError
        There is no such profile, or its executor is not installed, or this machine cannot submit to its cluster.
    """
    path = folder("workflow") / "profiles" / named if named in shipped() else Path(named).absolute()
    file = next((path / name for name in FILES if (path / name).is_file()), None)
    if file is None:
        known = ", ".join(shipped())
        message = f'there is no profile "{named}". Name one of these: {known}; or a folder with a config.yaml'
        raise UsageError(f"{message} of Snakemake.{did_you_mean(named, shipped())}")
    executor = str(_content(file).get("executor", "local"))
    module = f"snakemake_executor_plugin_{executor.replace('-', '_')}"
    if executor != "local" and find_spec(module) is None:
        package = f"liftseries[{executor}]" if executor in shipped() else module.replace("_", "-")
        raise UsageError(f'the executor "{executor}" of profile "{named}" is not installed: pip install "{package}"')
    if executor in ANSWERS and not _is_well(ANSWERS[executor]):
        command = ANSWERS[executor][0]
        message = (
            f'{command} does not answer. Start a run with profile "{named}" where jobs of {executor} are submitted'
        )
        raise UsageError(f"{message}, and try `{command}` there.")
    return path


def _is_well(command: list[str]) -> bool:
    try:
        return subprocess.run(command, capture_output=True, timeout=PATIENCE).returncode == 0
    except (OSError, subprocess.TimeoutExpired):
        return False


def _content(file: Path) -> dict[str, Any]:
    import yaml

    try:
        content = yaml.safe_load(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, yaml.YAMLError):
        raise UsageError(f"{file}: not a file of YAML; a profile of Snakemake is needed.") from None
    if not isinstance(content, dict):
        raise UsageError(f"{file}: no keys with values; a profile of Snakemake is needed.")
    return content


@contextmanager
def jobs_elsewhere(plan: Plan, environment: dict[str, str]) -> Iterator[dict[str, str]]:
    """Leaves, until the block ends, the hashes of the inputs as the run begins, for jobs that start later.

    Parameters
    ----------
    plan
    environment : of the run; given back without a warm process, should it name one
    """
    write_text(plan.output / BEGUN, json.dumps(input_hashes(plan)))
    try:
        yield {name: value for name, value in environment.items() if name != ADDRESS}
    finally:
        (plan.output / BEGUN).unlink(missing_ok=True)


def begun_with(plan: Plan, is_main: bool) -> dict[str, str]:
    """The hashes of the inputs that a run began with; see `input_hashes`.

    Parameters
    ----------
    plan
    is_main : whether this process of Snakemake is the run's own; one that does a job elsewhere goes by the run's note,
        and need not read the whole study for it
    """
    note = plan.output / BEGUN
    return input_hashes(plan) if is_main or not note.is_file() else json.loads(note.read_text(encoding="utf-8"))

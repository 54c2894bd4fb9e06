"""Mutation testing by mutmut, in slices: does a test notice when a line of the code is changed?

    python tests/mutation/mutate.py geometry               # a slice of slices.toml, to its end
    python tests/mutation/mutate.py --changed --most 60    # of what changed against the merge base
    python tests/mutation/mutate.py geometry --most 200 --keep FOLDER    # for `mutmut show NAME` there

Prints how many mutants were killed, and of each survivor its name and what it changes. mutmut works in a folder of its
own, in which the checkout's tests and shipped folders are links. A sample is every so-manieth mutant by name, the same
at each run.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import tomllib
from collections import Counter
from fnmatch import fnmatch
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SLICES = tomllib.loads((Path(__file__).parent / "slices.toml").read_text(encoding="utf-8"))
LINKED = ("tests", "schemas", "reports", "workflow", "synthetic_data")
# Lines whose mutants are mostly the same program: a type that the data have already.
SAME = [r"= np\.asarray\("]
NEEDED_BY_TESTS = ("pythonpath", "addopts")
# mutmut's exit codes: https://github.com/boxed/mutmut, mutmut/utils/format_utils.py
NOTICED = ("killed", "timed out")
OUTCOMES = {0: "survived", 1: "killed", 3: "killed", 33: "no test", 34: "skipped", 36: "timed out", 24: "timed out"}


def outcome(code: int | None) -> str:
    """`killed`, `survived`, `no test`, `timed out`, `not run`; a crash is noticed, too."""
    return "not run" if code is None else OUTCOMES.get(code, "timed out" if code in (152, 255) else "killed")


def prepare(folder: Path, files: list[str], tests: list[str], without: list[str]) -> None:
    """mutmut's folder: links to what the tests need, and a pyproject.toml of its own."""
    (folder / "mutants").mkdir(parents=True)
    (folder / "src").symlink_to(ROOT / "src")
    for name in LINKED:
        (folder / "mutants" / name).symlink_to(ROOT / name)
    pytest = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["pytest"]["ini_options"]
    own = {
        "source_paths": ["src"],
        "only_mutate": files,
        "pytest_add_cli_args_test_selection": tests,
        "pytest_add_cli_args": [
            *("-p", "no:cacheprovider", "-p", "no:xdist"),
            *(word for test in without for word in ("--deselect", test)),
        ],
        "do_not_mutate_patterns": SAME,
        "use_git_change_detection": False,
    }
    lines = ["[tool.mutmut]", *(f"{key} = {json.dumps(value)}" for key, value in own.items())]
    lines += ["[tool.pytest.ini_options]", *(f"{key} = {json.dumps(pytest[key])}" for key in NEEDED_BY_TESTS)]
    (folder / "pyproject.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def mutmut(folder: Path, *words: str) -> subprocess.CompletedProcess:
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "PYTHONPATH": ""}
    return subprocess.run(
        [sys.executable, "-m", "mutmut", *words], cwd=folder, env=environment, capture_output=True, encoding="utf-8"
    )


def codes(folder: Path) -> dict[str, int | None]:
    """Mutant -> mutmut's exit code; None before it was tried."""
    found = {}
    for path in sorted((folder / "mutants").glob("src/**/*.meta")):
        found |= json.loads(path.read_text(encoding="utf-8"))["exit_code_by_key"]
    return dict(sorted(found.items()))


def change(folder: Path, mutant: str) -> list[str]:
    """The lines that a mutant has otherwise, as `-` and `+`."""
    lines = mutmut(folder, "show", mutant).stdout.splitlines()
    return [line for line in lines if line[:1] in "-+" and line[:3] not in ("---", "+++")]


def every(names: list[str], most: int) -> list[str]:
    """At most so many of the names, spread over all of them."""
    return names if len(names) <= most else [names[k * len(names) // most] for k in range(most)]


def tried(folder: Path, files: list[str], one: dict[str, list[str]], most: int) -> dict[str, str]:
    """Mutant -> what became of it; of some files of a slice."""
    prepare(folder, files, one["tests"], one.get("without", []))
    first = mutmut(folder, "run", "--max-children", "1", "none_has_this_name")  # makes them and times the tests
    names = every([*codes(folder)], most)
    if not names:
        sys.exit(f"mutmut made no mutant:\n{first.stdout[-3000:]}{first.stderr[-3000:]}")
    print(f"{len(names)} of {len(codes(folder))} mutants are tried.", flush=True)
    for start in range(0, len(names), 500):  # a command line has an end
        last = mutmut(folder, "run", "--max-children", "1", *names[start : start + 500])
    found = {name: outcome(code) for name, code in codes(folder).items() if name in set(names)}
    if set(found.values()) == {"not run"}:
        sys.exit(f"mutmut tried none:\n{last.stdout[-3000:]}{last.stderr[-3000:]}")
    return found


def changed() -> list[str]:
    """Sources that differ from the merge base with main; on main itself, from the commit before."""

    def git(*words: str) -> str:
        return subprocess.run(["git", *words], cwd=ROOT, capture_output=True, encoding="utf-8").stdout.strip()

    head, base = git("rev-parse", "HEAD"), git("merge-base", "HEAD", "origin/main") or git("merge-base", "HEAD", "main")
    if not base or base == head:
        base = git("rev-parse", "HEAD~1")
    return [path for path in git("diff", "--name-only", base or head).splitlines() if path.endswith(".py")]


def work(options: argparse.Namespace) -> list[tuple[str, list[str]]]:
    """Slices and the files of each that are mutated."""
    if not options.changed:
        return [(name, SLICES[name]["files"]) for name in options.slices or SLICES]
    files = changed()
    of_slices = {
        name: [
            path for path in files if any(fnmatch(path, pattern) for pattern in one["files"]) and (ROOT / path).exists()
        ]
        for name, one in SLICES.items()
    }
    return [(name, paths) for name, paths in of_slices.items() if paths]


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("slices", nargs="*", metavar="SLICE", help=", ".join(SLICES))
    arguments.add_argument("--changed", action="store_true")
    arguments.add_argument("--most", type=int, default=10**9, help="mutants in all")
    arguments.add_argument("--keep", type=Path)
    options = arguments.parse_args()
    if unknown := {*options.slices} - {*SLICES}:
        arguments.error(f"no such slice: {', '.join(sorted(unknown))}; there are {', '.join(SLICES)}")
    chosen = work(options)
    if not chosen:
        print("Nothing that a slice covers has changed: 0 mutants.")
    for name, files in chosen:
        with tempfile.TemporaryDirectory() as made:
            folder = (options.keep or Path(made)) / name
            print(f"{name}: {', '.join(files)}", flush=True)
            found = tried(folder, files, SLICES[name], max(1, options.most // len(chosen)))
            left = {mutant: change(folder, mutant) for mutant, became in found.items() if became not in NOTICED}
        counts = Counter(found.values())
        noticed = sum(counts[became] for became in NOTICED)
        print(f"{name}: {noticed} of {len(found)} noticed, {noticed / len(found):.0%}: {dict(counts)}")
        for mutant, lines in left.items():
            print(f"  {found[mutant]}: {mutant}", *lines, sep="\n    ")


if __name__ == "__main__":
    main()

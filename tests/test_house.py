"""The house: its rooms' imports point one way, its top level holds what belongs there, its wheel is whole."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
import zipfile
from collections import Counter
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "src" / "liftseries"
LINES_A_FILE, LINES_A_FUNCTION = 300, 60
TOO_LONG = (ROOT / "tests" / "too_long.txt").read_text(encoding="utf-8").splitlines()[1:]


def tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, encoding="utf-8")
    if listed.returncode:
        pytest.skip("not a git checkout")
    return listed.stdout.splitlines()


def modules() -> dict[str, Path]:
    """Every module of the package by its name, a room's by the name of the room."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imported(path: Path) -> Iterator[tuple[str, str]]:
    """Module and name of each import of a file, inside functions too; those for type checkers alone are none."""
    waiting = [ast.parse(path.read_text(encoding="utf-8"))]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.If) and ast.unparse(node.test) in ("TYPE_CHECKING", "typing.TYPE_CHECKING"):
            waiting += node.orelse
        elif isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{path.name}: a relative import"
            yield from ((node.module, alias.name) for alias in node.names)
        else:
            waiting += ast.iter_child_nodes(node)


def test_no_two_modules_of_the_tests_have_one_name():
    """pytest imports them by their file's name: of two alike only the first would be found."""
    names = [path.name for path in (ROOT / "tests").rglob("*.py") if path.name not in ("conftest.py", "__init__.py")]
    assert [name for name, n in Counter(names).items() if n > 1] == []


def test_imports_point_one_way():
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
    )
    assert done.returncode == 0, done.stdout


def test_no_files_import_each_other_in_a_circle():
    known = modules()
    graph = {}
    for module, path in known.items():
        asked = (name if (name := f"{where}.{what}") in known else where for where, what in imported(path))
        graph[module] = {name for name in asked if name in known and name != module}
    assert sum(map(len, graph.values())) > len(graph)
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as circle:
        pytest.fail(" imports ".join(reversed(circle.args[1])))


def test_every_core_dependency_is_imported():
    with (ROOT / "pyproject.toml").open("rb") as file:
        declared = {re.match(r"[\w-]+", entry)[0] for entry in tomllib.load(file)["project"]["dependencies"]}
    files = [*PACKAGE.rglob("*.py"), *(ROOT / "workflow").rglob("*.py")]
    asked = {where.partition(".")[0] for path in files for where, _ in imported(path)}
    homes = packages_distributions()
    used = {re.sub(r"[-_.]+", "-", home).lower() for name in asked for home in homes.get(name, ())}
    assert declared - used == set()


def too_long() -> set[str]:
    """Files above the lines that a file may have, and functions above those of a function."""
    found = set()
    for name in tracked():
        path = ROOT / name
        if path.suffix != ".py" or not path.is_file():
            continue
        text = path.read_text(encoding="utf-8")
        if text.count("\n") > LINES_A_FILE:
            found.add(name)
        for node in ast.walk(ast.parse(text)):
            is_function = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
            if is_function and node.end_lineno - node.lineno >= LINES_A_FUNCTION:
                found.add(f"{name}: {node.name}")
    return found


def test_what_is_too_long_is_listed_and_the_list_only_shrinks():
    found = too_long()
    assert found - set(TOO_LONG) == set()
    assert set(TOO_LONG) - found == set(), "these are short enough now: strike them"
    assert sorted(set(TOO_LONG)) == TOO_LONG


def test_the_map_gives_the_first_line_of_every_room():
    """DEVELOPERS.md, a line a room, two blanks further in for a room inside a room."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    drawn = text.partition("src/liftseries/\n")[2].partition("\n\n")[0]
    told, above = {}, []
    for indent, name, line in re.findall(r"^( +)(\w+)/ +(.+)$", drawn, re.M):
        above[(len(indent) - 6) // 2 :] = [name]
        told["/".join(above)] = line
    rooms = {path.parent.relative_to(PACKAGE).as_posix(): path for path in PACKAGE.rglob("__init__.py")}
    del rooms["."]
    assert told == {
        room: (ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or "").partition("\n")[0]
        for room, path in rooms.items()
    }


def test_geometry_and_models_open_no_file():
    for room in ("geometry", "models"):
        for path in (ROOT / "src" / "liftseries" / room).rglob("*.py"):
            words = path.read_text(encoding="utf-8")
            for opener in ("open(", "read_csv", "read_parquet", "read_excel", "pathlib", "liftseries.study.plan"):
                assert opener not in words, f"{path.name}: {opener}"


def test_top_level_is_as_agreed():
    assert {name.split("/")[0] for name in tracked() if not name.startswith(".")} == {
        "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "requirements.txt", "make.py",
        "workflow", "src", "schemas", "tests", "reports", "synthetic_data", "docs", "requirements.cdx.json",
    }  # fmt: skip


def test_lock_files_hold_hashes_and_no_host():
    for lock in (ROOT / "requirements.txt", ROOT / "tests" / "requirements.txt"):
        words = lock.read_text(encoding="utf-8")
        assert "://" not in words
        pins = [line for line in words.splitlines() if "==" in line and not line.startswith((" ", "#"))]
        assert pins
        assert words.count("--hash=sha256:") >= len(pins)


def test_wheel_carries_workflow_schemas_and_templates(tmp_path):
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", tmp_path], cwd=ROOT, check=True)
    (wheel,) = tmp_path.glob("*.whl")
    names = zipfile.ZipFile(wheel).namelist()
    for name in (
        "workflow/Snakefile",
        "schemas/sites.yaml",
        "reports/report.html.j2",
    ):
        assert f"liftseries/{name}" in names


def test_readme_names_the_two_commands_that_ci_runs():
    readme, ci = (
        (ROOT / "README.md").read_text(encoding="utf-8"),
        (ROOT / ".ci" / "run").read_text(encoding="utf-8"),
    )
    for command in ("python3 make.py demo", "python3 make.py test"):
        assert f"    {command}" in readme
        assert command in ci

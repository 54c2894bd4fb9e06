"""Held to the byte while the house is rebuilt: what this tree and an earlier commit make of four folders.

    python tests/golden/compare.py REVISION [--keep FOLDER]

Both trees run on this machine with the same libraries, so that not even a last digit may differ. The earlier tree's
results are kept in FOLDER, by revision. Hashes, versions and times are set aside. This script goes when the work ends.
"""

from __future__ import annotations

import argparse
import csv
import os
import re
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# What a release says of a table whose name is now that of its file.
RENAMED = (
    (b'"at_risk": {', b'"survival_at_risk": {'),
    (b'"curves": {', b'"survival_curves": {'),
)
KEY = b"\x07" * 32
IGNORED_PARTS = {".snakemake", "logs", "models", "checked", ".lock", "manifest.json"}
HASH = re.compile(rb'"(?:code|[^"]*sha256[^"]*|manifest)": "[0-9a-f]{8,}"')
TOOK = re.compile(r"\b\d+ s\b|^\[\d+/\d+\].*\n", re.M)


def main() -> int:
    options = argparse.ArgumentParser()
    options.add_argument("revision")
    options.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "liftseries_golden")
    options.add_argument("--only", nargs="*", help="names of studies")
    options.add_argument("--without-release", action="store_true", help="the run alone, which is much faster")
    options = options.parse_args()
    revision = git("rev-parse", options.revision)
    base, now = options.keep / revision, options.keep / f"now-{os.getpid()}"
    if not (base / "done").exists():
        with tempfile.TemporaryDirectory() as tree:
            git("worktree", "add", "--detach", f"{tree}/tree", revision)
            try:
                made(Path(tree) / "tree", base)
            finally:
                git("worktree", "remove", "--force", f"{tree}/tree")
        (base / "done").touch()
    with tempfile.TemporaryDirectory() as tree:  # as it is now, whatever is edited meanwhile
        for room in ("src", "workflow", "schemas", "reports"):
            shutil.copytree(ROOT / room, Path(tree) / room)
        made(Path(tree), now, options.only, not options.without_release)
    differing = list(differences(base, now))
    print("\n".join(differing) or "The same bytes.")
    if not differing:
        shutil.rmtree(now)
    return bool(differing)


def git(*arguments: str) -> str:
    return subprocess.run(["git", *arguments], cwd=ROOT, check=True, capture_output=True, text=True).stdout.strip()


def made(tree: Path, into: Path, only: list[str] | None = None, with_release: bool = True) -> None:
    """Runs the commands of `tree` on each study and keeps what they leave in `into`."""
    shutil.rmtree(into, ignore_errors=True)
    into.mkdir(parents=True)
    for name, make in STUDIES.items():
        if only and name not in only:
            continue
        with tempfile.TemporaryDirectory() as folder:
            study = Path(folder) / name
            shutil.copytree(ROOT / "synthetic_data", study, ignore=shutil.ignore_patterns("output", "release"))
            make(study)
            commands(tree, Path(folder), name, into / name, with_release)


def commands(tree: Path, folder: Path, name: str, kept: Path, with_release: bool) -> None:
    def command(*arguments: str) -> None:
        environment = {**os.environ, "PYTHONPATH": str(tree / "src"), "COLUMNS": "100"}
        call = [sys.executable, "-c", "import sys; from liftseries.cli import main; sys.exit(main())", *arguments]
        done = subprocess.run(call, cwd=folder, env=environment, capture_output=True, text=True)
        words = f"{done.stdout}{done.stderr}".replace(f"{folder}/", "").replace(f"{folder.resolve()}/", "")
        told.append(f"$ {' '.join(arguments)}\n{words}\nstatus {done.returncode}\n")

    told: list[str] = []
    kept.mkdir(parents=True)
    (folder / "key").mkdir()
    write_key(folder / "key" / "of.key")
    command("check", name, "--decisions", f"{name}/decisions_told.csv")
    (folder / "sent").mkdir()
    for table in (path for path in (folder / name).iterdir() if re.match(r"[a-z]+_|dune|instr|stops", path.name)):
        if table.suffix != ".py" and "told" not in table.name:
            shutil.copy(table, folder / "sent")
    command("pseudonymise", "sent", "hidden", "--key", "key/of.key", "--keep", "flapless")
    command("check", name, "--corrections", f"{name}/to_mend.xlsx")
    command("ladder", name, "--rbh-min", "3.5", "--rbh-max", "5")
    if name != "spoiled":
        command("run", name)
        for arguments in [(), ("--rows",)] if with_release else []:
            command("release", name, *arguments)
            shutil.move(folder / name / "release", kept / "_".join(["release", *arguments]))
        shutil.copytree(folder / name / "output", kept / "output", ignore=lambda _, names: IGNORED_PARTS & {*names})
    for path in (folder / "hidden", folder / name / "decisions_told.csv"):
        if path.exists():
            shutil.move(path, kept / path.name)
    for call in told:
        name = re.sub(r"\W+", "_", call.split("\n")[0]).strip("_")
        (kept / f"{name}.txt").write_text(TOOK.sub("", call), encoding="utf-8")


def write_key(path: Path) -> None:
    import hashlib

    path.write_text(f"liftseries-key {KEY.hex()} {hashlib.sha256(KEY).hexdigest()[:8]}\n", encoding="ascii")
    path.chmod(0o600)


def differences(base: Path, now: Path) -> Iterator[str]:
    """Files that differ or that one side lacks, in the folders that both sides made."""
    made = {path.parent for path in now.rglob("*") if path.is_file()}
    files = {path.relative_to(folder) for folder in (base, now) for path in folder.rglob("*") if path.is_file()}
    for path in sorted(files - {Path("done")}):
        if now / path.parent not in made or (path.name.startswith("release") and not (now / path).exists()):
            continue
        if not (base / path).exists() or not (now / path).exists():
            yield f"{path}: only in {'now' if (now / path).exists() else 'base'}"
        elif content(base / path) != content(now / path):
            yield f"{path}: differs ({base / path} {now / path})"


def content(path: Path) -> bytes:
    """A file's bytes without its hashes; a workbook's or document's parts, since its container may hold a time."""
    if path.suffix in (".xlsx", ".docx"):
        with zipfile.ZipFile(path) as file:
            return b"".join(name.encode() + file.read(name) for name in sorted(file.namelist()))
    content = path.read_bytes()
    for old, new in RENAMED if path.name == "release.json" else ():
        content = content.replace(old, new)
    return HASH.sub(b'"": ""', content)


# ── the studies ─────────────────────────────────────────────────────────────────────────────────────────────


def the_demo(study: Path) -> None:
    """As it is."""


def no_steps(study: Path) -> None:
    text = (study / "study.yaml").read_text(encoding="utf-8")
    text = re.sub(r"  steps:\n.*?\n(?=  visits:)", "", text, flags=re.S)
    (study / "study.yaml").write_text(text, encoding="utf-8")


def few_patients(study: Path) -> None:
    """25 patients of one centre."""
    only_heath(study)
    rows = read(study / "heath_patients.csv")
    kept = {row[0] for row in rows[1:26]}
    sites = keep(study / "heath_sites.csv", "patient_id", kept)
    keep(study / "heath_patients.csv", "patient_id", kept)
    for table in ("steps", "visits"):
        keep(study / f"heath_{table}.csv", "site_id", sites)


def spoiled(study: Path) -> None:
    """Cells of one centre damaged in many ways, to hear every kind of message."""
    only_heath(study)
    path = study / "heath_sites.csv"
    rows = read(path)
    at = {name: k for k, name in enumerate(rows[0])}
    damages = [
        ("tooth", "1.6"), ("tooth", "55"), ("rbh_min_mm", "5,25 mm"), ("rbh_min_mm", "99"), ("perforation", "ja"),
        ("perforation", ""), ("approach", "by hand"), ("patient_id", "nobody"), ("site_id", rows[1][at["site_id"]]),
        ("surgery_year", "2019-03-04"), ("rbh_max_mm", "-"), ("implant_length_mm", "=8"), ("graft", "n/a"),
        ("operator", "Dr. Anna Schmidt"), ("implant_diameter_mm", "0.42"),
    ]  # fmt: skip
    for row, (column, value) in zip(rows[2:], damages, strict=False):
        row[at[column]] = value
    write(path, rows)


def only_heath(study: Path) -> None:
    text = (study / "study.yaml").read_text(encoding="utf-8")
    text = re.sub(r"\[heath_(\w+)\.csv, [^\]]*\]", r"heath_\1.csv", text)
    (study / "study.yaml").write_text(text, encoding="utf-8")


def read(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        first = file.readline()
        file.seek(0)
        return list(csv.reader(file, delimiter=";" if ";" in first else ","))


def write(path: Path, rows: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, delimiter=";").writerows(rows)


def keep(path: Path, column: str, kept: set[str]) -> set[str]:
    rows = read(path)
    at = rows[0].index(column)
    rows = [rows[0], *(row for row in rows[1:] if row[at] in kept)]
    write(path, rows)
    return {row[0] for row in rows[1:]}


STUDIES = {"demo": the_demo, "few_patients": few_patients, "no_steps": no_steps, "spoiled": spoiled}


if __name__ == "__main__":
    sys.exit(main())

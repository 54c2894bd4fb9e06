"""Feeds damaged files to the readers, guided by which of our lines each of them reaches.

    python tests/fuzz/harness.py KIND -runs=5000 -seed=1 -timeout=60 -rss_limit_mb=2048

KIND is `csv`, `workbook` (its bytes), `parts` (the XML within a whole zip), `parquet` or `plan`. What follows it
goes to libFuzzer, which ends the process where one file takes too long or too much memory. A reader may find
whatever it likes in a file, but it must not raise, and a message must not hold what stood in a cell.
"""

from __future__ import annotations

import io
import sys
import tempfile
import zipfile
from pathlib import Path

import atheris
import pandas as pd  # noqa: F401, imported before our own modules are instrumented

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from studies import added, tables, write_study

with atheris.instrument_imports(include=["liftseries.intake", "liftseries.study", "liftseries.base.plain_yaml"]):
    from liftseries.base.errors import StudyError
    from liftseries.intake.draft.stack import draft_table
    from liftseries.study.plan import read_plan
    from liftseries.study.plan_files import Source
    from liftseries.study.schema import read_schema

CANARY = "Quillfeather"
TABLE = "patients"
# Pieces that a workbook's XML is made of, and some that it should not hold.
PIECES = (
    b'<c r="A2" t="s"><v>99999999</v></c>',
    b'<c r="ZZZ1048577"/>',
    b'<row r="0">',
    b'<row r="-1"/>',
    b'<row r="9e9" hidden="1">',
    b'<f t="shared" si="9">A1</f>',
    b"<v/>",
    b"<v>1e999</v>",
    b'<mergeCell ref="A1:XFD1048576"/>',
    b'<mergeCell ref="B0"/>',
    b'<!DOCTYPE x [<!ENTITY a "b">]>',
    b"&a;",
    b"\x00",
    b'<dimension ref="A1:XFD1048576"/>',
    b't="e"',
    b't="d"',
    b's="4096"',
    b"<is><t>x</t></is>",
    b'<col min="1" max="16384" hidden="1"/>',
    b'state="veryHidden"',
    b"]]>",
    b"<![CDATA[",
)
ENDINGS = {"csv": "csv", "workbook": "xlsx", "parts": "xlsx", "parquet": "parquet"}


def main(kind: str) -> None:
    """Starts libFuzzer on one kind of file, from a sound file of that kind."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        study = write_study(folder / "study", {TABLE: added({"centre": CANARY})}, ending=ENDINGS.get(kind, "csv"))
        corpus = folder / "corpus"
        corpus.mkdir()
        if kind == "plan":
            (corpus / "sound").write_bytes((study / "study.yaml").read_bytes())
            try_one = lambda data: _read_plan(study, data)  # noqa: E731
        else:
            sound = (study / ("study.xlsx" if ENDINGS[kind] == "xlsx" else f"{TABLE}.{ENDINGS[kind]}")).read_bytes()
            (corpus / "sound").write_bytes(b"\0" * 64 if kind == "parts" else sound)
            damaged = folder / f"damaged.{ENDINGS[kind]}"
            make = _damaged_parts(sound) if kind == "parts" else bytes
            try_one = lambda data: _read_table(damaged, make(data))  # noqa: E731
        atheris.Setup([sys.argv[0], str(corpus), *sys.argv[2:]], try_one)
        atheris.Fuzz()


def _read_table(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    draft = draft_table(read_schema()[TABLE], (Source(path.name, path, None),))
    for finding in draft.findings:
        assert CANARY not in f"{finding.place}: {finding.message}", finding.rule
    assert len(draft.frame) == sum(len(sheet.rows) for sheet in draft.sheets.values())


def _read_plan(study: Path, content: bytes) -> None:
    (study / "study.yaml").write_bytes(content)
    try:
        plan = read_plan(study)
    except StudyError as error:
        if not error.problems:
            raise AssertionError("a refusal that names no problem") from error
        return
    inside = [plan.output, *(source.path for sources in plan.tables.values() for source in sources)]
    assert all(path.resolve().is_relative_to(study.resolve()) for path in inside)
    assert set(plan.tables) <= set(tables())


def _damaged_parts(sound: bytes):
    """Some places of some parts of the workbook cut out or written over; the zip around them stays whole."""
    with zipfile.ZipFile(io.BytesIO(sound)) as parts:
        whole = {name: parts.read(name) for name in sorted(parts.namelist())}
    names = [name for name in whole if name.endswith((".xml", ".rels"))]

    def damaged(data: bytes) -> bytes:
        provider, contents = atheris.FuzzedDataProvider(data), dict(whole)
        for _ in range(provider.ConsumeIntInRange(1, 4)):
            name = names[provider.ConsumeIntInRange(0, len(names) - 1)]
            part = contents[name]
            at = provider.ConsumeIntInRange(0, len(part))
            gone = provider.ConsumeIntInRange(0, 40)
            choice = provider.ConsumeIntInRange(0, len(PIECES))
            piece = PIECES[choice] if choice < len(PIECES) else provider.ConsumeBytes(20)
            contents[name] = part[:at] + piece + part[at + gone :]
        book = io.BytesIO()
        with zipfile.ZipFile(book, "w") as parts:
            for name, part in contents.items():
                parts.writestr(name, part)
        return book.getvalue()

    return damaged


if __name__ == "__main__":
    main(sys.argv[1])

"""Two hundred planted identifiers, in every column, header and file name: none in what is written or said."""

from __future__ import annotations

import re
import unicodedata

import openpyxl
import pandas as pd
import pytest
from planted_identifiers import planted

from liftseries.cli import main
from liftseries.study.schema import audit_schema, read_schema

SCHEMA = {**read_schema(), **audit_schema()}
PLANTED = planted()
TEXTS = [text for texts in PLANTED.values() for text in texts]
KEPT_COLUMNS = ("protocol", "centre", "what", "memo")
# Words of the dictionary and of messages, which a planted text may hold too.
PLAIN_WORDS = {"dossier", "march", "april", "fall", "moor", "under", "upper", "loire"}


def as_one(text: str) -> str:
    return unicodedata.normalize("NFC", text).casefold()


def marks_of(text: str) -> set[str]:
    """What must stand nowhere: the text, its words from four letters on, its digits from six on."""
    words = {word for word in re.findall(r"[^\W\d_]{4,}", as_one(text)) if word not in PLAIN_WORDS}
    digits = re.sub(r"\D", "", text)
    return {as_one(text)} | words | ({digits} if len(digits) >= 6 else set())


MARKS = {mark for text in TEXTS for mark in marks_of(text)}


def found_in(said: str) -> set[str]:
    said = re.sub(r"\b[a-z]-[a-z2-7]{16}\b", "", as_one(said))  # codes
    return {mark for mark in MARKS if mark in said}


def table_of(name: str, texts: list[str], shift: int) -> pd.DataFrame:
    """A row a text, the same text in all its columns; keys and references agree among the tables."""
    columns = {column: texts for column in SCHEMA[name].columns}
    columns["memo"] = texts
    columns[texts[shift]] = texts  # and as a header
    return pd.DataFrame(columns)


def is_clean(out, said: str) -> None:
    written = [f"{path.name}\n{path.read_text(encoding='utf-8')}" for path in out.iterdir()]
    assert len(written) > len(SCHEMA)
    assert found_in("\n".join(written)) == set()
    assert found_in(said) == set()


def run(source, out, key, capsys, *more: str) -> str:
    capsys.readouterr()
    door = ["pseudonymise", str(source), str(out), "--key", str(key), *more]
    status = main(door if key.exists() else [*door, "--new-key"])
    said = capsys.readouterr()
    assert status == 0, said.err
    return (said.out + said.err).replace(str(source), "").replace(str(out), "").replace(str(key), "")


@pytest.mark.parametrize("keep", [(), tuple(f"--keep={name}" for name in KEPT_COLUMNS)], ids=["", "kept"])
def test_none_of_two_hundred_stands_in_what_is_written(tmp_path, capsys, keep):
    source = tmp_path / "in"
    source.mkdir()
    for number, texts in enumerate(PLANTED.values()):
        for name in SCHEMA:
            beside = re.sub(r"[^\w -]", "", texts[number])
            table_of(name, texts, number + 16).to_csv(source / f"{name}_{beside}.csv", index=False)
    said = run(source, tmp_path / "out", tmp_path / "key", capsys, *keep)
    is_clean(tmp_path / "out", said)
    assert "looks like a person's name: left blank" in said
    patients = pd.read_csv(tmp_path / "out" / "patients.csv")
    assert len(patients) == 200
    assert patients["patient_id"].is_unique
    assert set(patients) == {"patient_id", "centre", *(set(SCHEMA["patients"].columns) & set(patients))} | (
        {"memo"} if keep else set()
    )


def test_nor_from_a_workbook_with_titles_comments_and_other_sheets(tmp_path, capsys):
    book = openpyxl.Workbook()
    book.active.title = PLANTED["en"][0]
    book.active.append([PLANTED["en"][8]])
    for name in SCHEMA:
        sheet = book.create_sheet(name)
        table = table_of(name, PLANTED["de"], 3)
        sheet.append(["Patienten von " + PLANTED["de"][9]])
        sheet.append(list(table))
        for row in table.itertuples(index=False):
            sheet.append(list(row))
        sheet["B3"].comment = openpyxl.comments.Comment(PLANTED["fr"][0], PLANTED["fr"][9])
    book.properties.creator = PLANTED["it"][0]
    (tmp_path / "in").mkdir()
    path = tmp_path / "in" / f"{PLANTED['es'][8]}.xlsx"
    book.save(path)
    said = run(path, tmp_path / "out", tmp_path / "key", capsys)
    is_clean(tmp_path / "out", said)
    assert "1 of its sheets bear no table's name: dropped" in said


def test_the_search_finds_what_it_looks_for():
    assert found_in("height 7 by Marrowbone") == {"marrowbone"}
    assert found_in("p-marrowboneabcdef, speed 600") == set()
    assert len(TEXTS) == len(set(TEXTS)) == 200

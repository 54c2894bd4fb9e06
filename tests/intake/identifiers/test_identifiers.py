"""The identifier screen: every kind that the law lists is seen, and no pseudonym is taken for one.

Everything here is invented or published as an example: telephone numbers kept for fiction (555-01xx), addresses of
RFC 2606, RFC 5737 and RFC 3849, the issuers' own sample numbers.
"""

from __future__ import annotations

import base64
import datetime
import hashlib
import hmac
import string

import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from studies import cell, cells, write_study

from liftseries.base.errors import StudyError
from liftseries.intake.files.grid import Oddity
from liftseries.intake.identifiers.kinds import Kind, Role
from liftseries.intake.identifiers.screen import screen_column
from liftseries.intake.identifiers.search import kind_of_header, kinds_of
from liftseries.intake.study import check_study, read_study
from liftseries.intake.told.decisions import write_decisions
from liftseries.study.plan import read_plan

# 45 CFR 164.514(b)(2)(i)(A)-(R), a row a letter: what a free label may hold.
LISTED = {
    "A": ["Dr. Quillfeather", "Frau Quillfeather", "Maria Quillfeather", "Quillfeather, Maria", "anna-lena von Quill"],
    "B": [
        "12 Long Acre Road", "Lindenstraße 5", "12345 Quillstadt", "SW1A 1AA", "K1A 0B1", "CA 90210", "PO Box 12",
        "12 rue de la Paix", "48.8584, 2.2945",
    ],
    "C": [
        "2019-03-04", "4.3.2019", "03/04/2019", "3 March 2019", "12. Mai 1961", "March 2019", "geb. 1961",
        "2019-03-04T10:00",
    ],
    "D": ["+1 202 555 0143", "(202) 555-0143", "202-555-0143", "030 1234567", "tel. 12345678"],
    "E": ["fax 030 1234567", "Fax: +1 202 555 0143"],
    "F": ["zebedee.quillfeather@example.org"],
    # 756.9217.0769.85: the sample number of the Swiss office; RSSMRA85T10A562S: the usual sample in Italy, from memory.
    "G": ["756.9217.0769.85", "RSSMRA85T10A562S", "SSN 123 456", "AB 12 34 56 C"],
    "H": ["MRN 0012345", "MRN0012345", "Patientennummer: 12345"],
    # The sample on the card that the Centers for Medicare & Medicaid Services publish.
    "I": ["1EG4-TE5-MK73", "policy no 12345678"],
    # The samples of the IBAN registry; a card number that issuers keep for tests.
    "J": ["GB82 WEST 1234 5698 7654 32", "DE89370400440532013000", "4111 1111 1111 1111", "account 12345678"],
    "K": ["licence 12345", "passport no C01X00T47", "NPI 1234567893"],
    "L": ["1M8GDM9AXKP042788", "number plate B-MW 1234"],
    "M": ["00:1B:44:11:3A:B7", "serial 1234567", "(01)00844588003288"],
    "N": ["https://example.org/p/1", "www.example.org"],
    "O": ["192.0.2.17", "2001:db8::1"],
    # No pattern sees a voice or a face: names of recordings and images stand in, and the words that announce them.
    "P": ["voice_12.wav", "fingerprint 12"],
    "Q": ["face_12.jpg", "DSC0012.JPG", "scan.dcm"],
    # Any other number of a person's own: a researcher's identifier, and what an imaging device gives a patient's scan.
    "R": ["0000-0002-1825-0097", "1.2.840.113619.2.55.3.604688119.969"],
}  # fmt: skip
HEADERS = {
    "A": ["name", "Surname", "Vorname", "nom", "patient name", "PatientName", "initials", "prénom"],
    "B": ["address", "PLZ", "zip code", "postcode", "city", "Straße"],
    "C": ["dob", "date_of_birth", "DateOfBirth", "Geburtsdatum", "surgery date", "date"],
    "D": ["phone", "Telefon", "mobile number"],
    "E": ["fax"],
    "F": ["e-mail", "email"],
    "G": ["ssn", "NHS number", "AHV"],
    "H": ["MRN", "medical record number", "Patientennummer"],
    "I": ["insurance number", "Krankenkasse"],
    "J": ["IBAN", "account"],
    "K": ["licence", "passport no"],
    "L": ["number plate", "VIN"],
    "M": ["serial number", "UDI"],
    "N": ["url", "website"],
    "O": ["ip", "IP address"],
    "P": ["fingerprint", "iris"],
    "Q": ["photo", "portrait", "image file"],
    "R": ["username", "personal number"],
}
PSEUDONYMS = [
    "p1", "P-0012", "2019-034", "A7F3", "000123", "NORTH_17", "op-3", "12/07", "2019/12", "site 3", "s1", "1-1-16",
    "7.1.16", "d41d8cd98f00b204e9800998ecf8427e", hashlib.sha256(b"p1").hexdigest(), "k-3q2wz5abcdefg234",
    "123e4567-e89b-12d3-a456-426614174000", "P12b", "pat 12 left", "operator 3", "Surgeon B", "19-034-L",
]  # fmt: skip
LABELS = [
    *PSEUDONYMS, "Protocol A", "guided-wide-13", "short fluid lift", "freehand, stopped drills", "A", "B 2",
    "wide 13 x 8", "Guided May protocol", "modified (step 2)", "1 mm steps, then fluid", "north", "South Clinic",
    "fluid < 0.5 ml", "before 2019", "2018-2020", "phase 1/2", "Centre 12", "Green Arm", "probe-13", "v1.2.3", "off-9",
    "Victoria", "Florence North", "trained by hand", "ø 3.4/13", "10:30", "50 %", "+/- 1 mm", "Dr group", "4-6 mm",
]  # fmt: skip


@pytest.mark.parametrize("letter", LISTED)
def test_listed_kind_is_seen_in_a_label(letter):
    for text in LISTED[letter]:
        assert {text: kind.letter for text, kind in kinds_of([text], Role.LABEL).items()} == {text: letter}


def test_listed_kind_is_seen_in_a_header():
    found = {name: kind_of_header(name) for names in HEADERS.values() for name in names}
    seen = {name: kind and kind.letter for name, kind in found.items()}
    assert seen == {name: letter for letter, names in HEADERS.items() for name in names}


def test_all_eighteen_are_looked_for():
    assert "".join(kind.letter for kind in Kind) == "ABCDEFGHIJKLMNOPQR" == "".join(LISTED) == "".join(HEADERS)


@pytest.mark.parametrize("text", ["Zebedee Quillfeather", "Z. Quillfeather", "Quillfeather, Z.", "maria", "Z.Q."])
def test_names_alone_are_seen_where_a_pseudonym_is_due(text):
    """In a free label two capitalised words are no name yet: recall gives way to precision there."""
    assert list(kinds_of([text], Role.KEY).values()) == [Kind.NAME]
    assert kinds_of([text], Role.LABEL) == {}


def test_ordinary_headers_pass():
    headers = ["protocol", "flapless", "platform name of guide", "age", "update", "rbh_min_mm"]
    assert [header for header in headers if kind_of_header(header)] == []


# ── pseudonyms pass ───────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("role", [Role.KEY, Role.LABEL])
def test_pseudonyms_pass(role):
    assert [text for text in PSEUDONYMS if kinds_of([text], role)] == []


def test_labels_pass():
    assert kinds_of(LABELS, Role.LABEL) == {}


def test_counts_pass():
    for texts in (range(1, 2001), (f"{n:06}" for n in range(2000)), (f"P-{n:04}" for n in range(2000))):
        assert kinds_of(list(map(str, texts)), Role.KEY) == {}


@given(st.lists(st.binary(min_size=4, max_size=32), min_size=20, max_size=60, unique=True))
def test_hmac_in_any_spelling_passes(secrets):
    digests = [hmac.digest(b"key", secret, "sha256") for secret in secrets]
    families = (
        [digest.hex() for digest in digests],
        [digest.hex()[:16] for digest in digests],
        [base64.b32encode(digest).decode().lower()[:16] for digest in digests],
        [f"p-{base64.b32encode(digest).decode().lower()[:16]}" for digest in digests],
    )
    for family in families:
        assert kinds_of(family, Role.KEY) == {}


@given(
    st.sampled_from(["P", "p", "S", "op", "NORTH", "site", "A", ""]),
    st.sampled_from(["", "-", "_", " "]),
    st.integers(1, 6),
    st.lists(st.integers(0, 10**6 - 1), min_size=1, max_size=50),
    st.sampled_from(["", "a", "-L", "-16", "_2"]),
)
def test_letters_and_a_number_pass(prefix, between, digits, numbers, suffix):
    texts = [f"{prefix}{between if prefix else ''}{number:0{digits}}{suffix}" for number in numbers]
    assert kinds_of(list(dict.fromkeys(texts)), Role.KEY) == {}


@given(st.integers(1990, 2030), st.lists(st.integers(1, 999), min_size=1, max_size=50, unique=True))
def test_year_and_running_number_pass(year, numbers):
    assert kinds_of([f"{year}-{number:03}" for number in numbers], Role.KEY) == {}
    assert kinds_of([f"{year}/{number}" for number in numbers], Role.KEY) == {}


@given(st.lists(st.text(string.ascii_uppercase + string.digits, min_size=3, max_size=6), max_size=50, unique=True))
def test_short_random_codes_pass(codes):
    # Random letters spell a given name now and then, and a common one would rightly be asked about.
    assert set(kinds_of(codes, Role.KEY).values()) <= {Kind.NAME}
    assert kinds_of(codes, Role.LABEL) == {}


@given(st.text(max_size=60))
def test_any_text_is_looked_at_without_a_fault(text):
    for role in Role:
        assert set(kinds_of([text], role)) <= {text}


@pytest.mark.parametrize("unit", ["a", "é", "É-", "1 ", "+1", "a@", "A. ", "Maria ", "rue van ", "::", "1."])
def test_longest_cell_of_a_workbook_is_looked_at_to_its_end(unit):
    """A pattern that begins anew at every letter would not come to an end here."""
    text = f"{unit * (32_700 // len(unit))} zebedee@example.org"
    assert list(kinds_of([text], Role.HARD_ONLY).values()) == [Kind.EMAIL]
    assert list(kinds_of([text], Role.KEY)) == [text]


# ── columns ───────────────────────────────────────────────────────────────────────────────────────────────────


def column(*values):
    import numpy as np

    raw = np.empty(len(values), dtype=object)
    raw[:] = values
    return raw


def test_rows_of_each_kind():
    raw = column("A", "a@example.org", None, "B", "a@example.org", "+1 202 555 0143", Oddity.ERROR, True, 5.5)
    found = {kind: rows.tolist() for kind, rows in screen_column(raw, Role.LABEL).items()}
    assert found == {Kind.EMAIL: [1, 4], Kind.TELEPHONE: [5]}


def test_numbers_of_a_workbook_are_looked_at_as_texts():
    npi = [1234567893, 1245319599, 1679576722, 1003000126, 1003000134]  # check digits by 45 CFR 162.406
    assert list(screen_column(column(*npi), Role.KEY)) == [Kind.LICENCE]
    assert list(screen_column(column(*map(float, npi)), Role.KEY)) == [Kind.LICENCE]


def test_nine_digits_are_no_measurement():
    assert {
        kind: rows.tolist() for kind, rows in screen_column(column(5, 2025550143, "2025550143"), Role.NUMBER).items()
    } == {Kind.OTHER: [1, 2]}
    assert screen_column(column(5, 12345678, "1e999", float("inf")), Role.NUMBER) == {}


# ── a study ───────────────────────────────────────────────────────────────────────────────────────────────────

EMAIL = "zebedee@example.org"


def lines(folder) -> list[str]:
    return [str(problem) for problem in check_study(read_plan(folder))[1]]


def test_place_kind_and_what_to_do_are_told_and_never_the_value(tmp_path):
    (line,) = lines(write_study(tmp_path, {"sites": cell(3, "protocol", EMAIL)}))
    assert line.startswith("sites.csv, row 3, protocol: looks like an e-mail address. Take it out.")
    assert "reading: {cleared: {sites: [protocol]}}" in line
    assert "zebedee" not in line


def test_all_rows_of_a_kind_are_told_in_one_line(tmp_path):
    changes = {"sites": cells((2, "protocol", EMAIL), (3, "protocol", EMAIL), (5, "protocol", "a@example.org"))}
    (line,) = lines(write_study(tmp_path / "csv", changes))
    assert line.startswith("sites.csv, rows 2-3, 5, protocol: ")
    (line,) = lines(write_study(tmp_path / "xlsx", changes, ending="xlsx"))
    assert line.startswith("study.xlsx, sheet sites, cells H2:H3, H5, protocol: ")


@pytest.mark.parametrize("invalid_rows", ["stop", "set_aside"])
@pytest.mark.parametrize(
    ("table", "row", "name", "text"),
    [
        ("sites", 3, "protocol", EMAIL),
        ("sites", 3, "operator", "Dr. Quillfeather"),
        ("patients", 2, "centre", "12 Long Acre Road"),
        ("patients", 2, "sex", EMAIL),
        ("sites", 2, "torque_ncm", "+1 202 555 0143"),
        ("sites", 2, "torque_ncm", "2025550143"),
        ("visits", 2, "bone_height_mm", EMAIL),
    ],
)
def test_identifier_stops_the_run_and_is_told_once(tmp_path, invalid_rows, table, row, name, text):
    folder = write_study(tmp_path, {table: cell(row, name, text)}, plan=f"invalid_rows: {invalid_rows}")
    with pytest.raises(StudyError) as error:
        read_study(read_plan(folder))
    (problem,) = error.value.problems
    assert problem.place == f"{table}.csv, row {row}, {name}"
    assert text not in str(problem)
    findings = check_study(read_plan(folder))[0].findings
    assert findings[["table", "column", "rule"]].values.tolist() == [[table, name, "text_is_no_identifier"]]


@pytest.mark.parametrize("header", ["surname", "date of birth"])
def test_header_of_an_unknown_column(tmp_path, header):
    folder = write_study(tmp_path, {"patients": lambda frame: frame.assign(**{header: "x"})})
    kinds = {"surname": "a person's name", "date of birth": "a date finer than a year"}
    told = f"patients.csv, row 1, column 8 (H): the name of this column says that it holds {kinds[header]}."
    assert any(line.startswith(told) for line in lines(folder))


def test_cells_of_an_unknown_column(tmp_path):
    folder = write_study(tmp_path, {"sites": lambda frame: frame.assign(memo=["", EMAIL, "", ""])})
    assert any(
        line.startswith("sites.csv, row 3, column 24 (X): looks like an e-mail address.") for line in lines(folder)
    )


def test_dates_that_a_workbook_keeps_are_refused_in_an_unknown_column(tmp_path):
    folder = write_study(tmp_path, ending="xlsx")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    sheet = book["patients"]
    at = sheet.max_column + 1
    sheet.cell(1, at).value, sheet.cell(3, at).value = "memo", datetime.datetime(1961, 5, 4)
    book.save(folder / "study.xlsx")
    assert any("cell H3" in line and "looks like a date finer than a year" in line for line in lines(folder))


def test_hidden_rows_are_looked_at_though_they_are_left_out(tmp_path):
    folder = write_study(
        tmp_path, {"sites": cell(3, "protocol", EMAIL)}, ending="xlsx", plan="reading: {hidden: leave_out}"
    )
    book = openpyxl.load_workbook(folder / "study.xlsx")
    book["sites"].row_dimensions[3].hidden = True
    book.save(folder / "study.xlsx")
    assert any(line.startswith("study.xlsx, sheet sites, cell H3, protocol: looks like") for line in lines(folder))


@pytest.mark.parametrize("title", ["Maria Quillfeather", EMAIL, datetime.date(1961, 5, 4)])
def test_title_above_the_header_is_looked_at(tmp_path, title):
    folder = write_study(tmp_path, ending="xlsx")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    book["sites"].insert_rows(1, 2)
    book["sites"]["A1"], book["sites"]["B2"] = "All sites of the series", title
    book.save(folder / "study.xlsx")
    (line,) = lines(folder)
    assert line.startswith("study.xlsx, sheet sites, cell B2, column 2 (B): looks like ")
    assert str(title) not in line


def test_clearing_a_column_is_a_decision_that_is_written(tmp_path):
    plan = "reading: {cleared: {sites: [protocol]}}"
    folder = write_study(tmp_path, {"sites": cell(3, "protocol", "Maria Quillfeather")}, plan=plan)
    intake = read_study(read_plan(folder))
    write_decisions(read_plan(folder), intake.decisions, tmp_path / "decisions.csv")
    written = pd.read_csv(tmp_path / "decisions.csv")
    (told,) = written[written["rule"] == "column_cleared_by_the_user"].itertuples()
    assert (told.table, told.file, told.column) == ("sites", "sites.csv", "protocol")
    assert "Quillfeather" not in (tmp_path / "decisions.csv").read_text(encoding="utf-8")


def test_hidden_columns_are_looked_at_though_they_are_left_out(tmp_path):
    folder = write_study(tmp_path, ending="xlsx", plan="reading: {hidden: leave_out}")
    book = openpyxl.load_workbook(folder / "study.xlsx")
    sheet = book["sites"]
    at = sheet.max_column + 1
    sheet.cell(1, at).value, sheet.cell(3, at).value = "memo", EMAIL
    sheet.column_dimensions[openpyxl.utils.get_column_letter(at)].hidden = True
    book.save(folder / "study.xlsx")
    assert any("cell X3" in line for line in lines(folder) if "e-mail address" in line)


def test_cleared_column_is_not_looked_at(tmp_path):
    plan = "reading: {cleared: {sites: [protocol]}}"
    changes = {"sites": cell(3, "protocol", "Maria Quillfeather")}
    assert len(lines(write_study(tmp_path / "1", changes))) == 1
    assert lines(write_study(tmp_path / "2", changes, plan=plan)) == []


def test_words_of_the_study_itself(tmp_path):
    folder = write_study(tmp_path, plan=f"study: {{title: Case series of {EMAIL}}}")
    (line,) = lines(folder)
    assert line.startswith("study.yaml, study, title: holds what looks like an e-mail address.")
    assert EMAIL not in line

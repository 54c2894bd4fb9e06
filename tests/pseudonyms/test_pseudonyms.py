"""Pseudonyms: the published HMAC, one spelling a patient, no identifier left over, keys guarded, dates not guessed."""

from __future__ import annotations

import datetime
import hmac
import os
import re

import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from studies import tables, write_plan

from liftseries.base.errors import StudyError, UsageError
from liftseries.cli import main
from liftseries.intake.identifiers.kinds import Role
from liftseries.intake.identifiers.search import kinds_of
from liftseries.intake.study import check_study
from liftseries.pseudonyms.codes import digest, pseudonym, spelling
from liftseries.pseudonyms.dates import DAYS_A_MONTH, completed_years, months_between, read_dates
from liftseries.pseudonyms.folder import LOG, pseudonymise
from liftseries.pseudonyms.key import check_place, new_key, read_key, write_key
from liftseries.pseudonyms.tables import Options
from liftseries.study.plan import read_plan

KEY, OTHER = bytes(range(32)), bytes(range(1, 33))

# RFC 4231, section 4: test cases 1, 2 and 6 (a key longer than a block): key, data, HMAC-SHA-256.
RFC_4231 = [
    (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    (b"Jefe", b"what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
    (
        b"\xaa" * 131,
        b"Test Using Larger Than Block-Size Key - Hash Key First",
        "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
    ),
]


@pytest.mark.parametrize(("key", "data", "expected"), RFC_4231)
def test_hmac_gives_the_published_digests(key, data, expected):
    assert hmac.digest(key, data, "sha256").hex() == expected


def test_what_is_hashed():
    assert digest(KEY, "patient", "12", "n") == hmac.digest(KEY, b"liftseries\0patient\0n\x0012", "sha256")


def test_kind_key_and_scope_make_another_pseudonym():
    codes = [pseudonym(KEY, "patient", "12"), pseudonym(KEY, "operator", "12"), pseudonym(OTHER, "patient", "12")]
    codes.append(pseudonym(KEY, "patient", "12", "north"))
    assert len({code[2:] for code in codes}) == 4
    assert all(re.fullmatch(r"[po]-[a-z2-7]{16}", code) for code in codes)
    assert kinds_of(codes, Role.KEY) == {}


@pytest.mark.parametrize("cell", ["Ärztin 12", " ärztin  12 ", "A\u0308rztin\u00a012", "ÄRZTIN 12"])
def test_one_patient_is_one_pseudonym(cell):
    assert spelling(cell) == "ärztin 12"


def test_numbers_agree_with_their_digits_but_not_with_leading_zeros():
    assert spelling(12) == spelling(12.0) == spelling("12") != spelling("012")


# ── dates ─────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("text", "order", "date"),
    [
        ("2020-04-03", None, (2020, 4, 3)),
        ("2020-04-03T10:20:00", "iso", (2020, 4, 3)),
        ("25/04/2020", None, (2020, 4, 25)),
        ("04/25/2020", None, (2020, 4, 25)),
        ("4.4.2020", None, (2020, 4, 4)),
        ("03/04/2020", "day-first", (2020, 4, 3)),
        ("03/04/2020", "month-first", (2020, 3, 4)),
    ],
)
def test_date_is_read(text, order, date):
    assert read_dates([text], order) == ([datetime.date(*date)], {}, "")


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("03/04/2020", None),
        ("03/04/20", None),
        ("03/04/2020", "iso"),
        ("04/25/2020", "day-first"),
        ("2020-02-30", None),
        ("31/31/2020", None),
        ("1961", None),
        (1961, None),
    ],
)
def test_date_that_cannot_be_told_is_refused(text, order):
    dates, faults, _ = read_dates([text], order)
    assert dates == [None]
    assert list(faults) == [0]
    assert str(text) not in faults[0]


@pytest.mark.parametrize("order", [None, "day-first", "month-first"])
def test_two_orders_in_a_column_are_refused(order):
    assert "some the month" in read_dates(["25/04/2020", "04/25/2020"], order)[2]


def test_dates_and_texts_in_one_column_are_refused():
    """A spreadsheet that reads 03/04/2020 as March leaves 25/04/2020 a text beside it."""
    assert "may have swapped" in read_dates([datetime.datetime(2020, 3, 4), "25/04/2020"], "day-first")[2]


@given(st.dates(datetime.date(1990, 1, 1), datetime.date(2090, 1, 1)), st.integers(0, 15_000))
def test_months_have_one_decimal_and_hide_the_day(placed, days):
    months = months_between(placed, placed + datetime.timedelta(days))
    assert abs(months - days / DAYS_A_MONTH) <= 0.05 + 1e-9
    assert months == round(months, 1)
    in_a_tenth = [day for day in range(days - 4, days + 5) if round(day / DAYS_A_MONTH, 1) == months]
    assert len(in_a_tenth) >= 3


def test_completed_years():
    born = datetime.date(1960, 2, 29)
    assert completed_years(born, datetime.date(2021, 2, 28)) == 60
    assert completed_years(born, datetime.date(2021, 3, 1)) == 61


# ── key files ─────────────────────────────────────────────────────────────────────────────────────────────────


def test_key_is_its_owners_alone_and_comes_back(tmp_path):
    key = new_key()
    write_key(tmp_path / "key", key)
    assert read_key(tmp_path / "key") == key
    if os.name == "posix":
        assert (tmp_path / "key").stat().st_mode & 0o777 == 0o600
    with pytest.raises(UsageError, match="is there already"):
        write_key(tmp_path / "key", key)


@pytest.mark.skipif(os.name != "posix", reason="rights are kept in another way")
@pytest.mark.parametrize("rights", [0o640, 0o604, 0o620, 0o777])
def test_key_with_wider_rights_is_refused(tmp_path, rights):
    write_key(tmp_path / "key", KEY)
    (tmp_path / "key").chmod(rights)
    with pytest.raises(UsageError, match="others than you"):
        read_key(tmp_path / "key")


@pytest.mark.parametrize(
    "change", [lambda t: t[:-4], lambda t: t.replace("0001", "0002", 1), lambda t: "", lambda t: "é"]
)
def test_key_that_is_not_whole_is_refused(tmp_path, change):
    write_key(tmp_path / "key", KEY)
    (tmp_path / "key").write_text(change((tmp_path / "key").read_text()), encoding="utf-8")
    with pytest.raises(UsageError, match="no whole key"):
        read_key(tmp_path / "key")


@pytest.mark.parametrize("marker", ["study.yaml", ".git"])
def test_key_in_a_study_or_under_version_control_is_refused(tmp_path, marker):
    (tmp_path / "a" / "b").mkdir(parents=True)
    check_place(tmp_path / "a" / "b" / "key")
    (tmp_path / "a" / marker).touch()
    with pytest.raises(UsageError, match="Keep the key apart"):
        check_place(tmp_path / "a" / "b" / "key")


def test_key_beside_the_tables_is_refused_also_through_a_link(tmp_path):
    (tmp_path / "in").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "in")
    for place in ("in", "link"):
        with pytest.raises(UsageError, match="lies with the tables"):
            check_place(tmp_path / place / "key", tmp_path / "in")


# ── a centre's folder ─────────────────────────────────────────────────────────────────────────────────────────

# Invented people.
NAMES = {"p1": "Zebedee Quillfeather", "p2": "Ottoline Marrowbone", "p3": "Ignatius Thistlewick"}
PLACED = {"s1": datetime.date(2018, 5, 17), "s2": datetime.date(2019, 3, 14), "s3": datetime.date(2019, 3, 14)}
PLACED["s4"] = datetime.date(2020, 11, 30)


def as_a_centre_has_them() -> dict[str, pd.DataFrame]:
    """The sound study before it was made fit: names, record numbers and dates in full."""
    made = tables()
    births = ["1963-12-01", "1958-01-31", "1973-02-11"]
    record = {patient: f"MRN-88{number}17" for number, patient in enumerate(NAMES)}
    made["patients"] = (
        made["patients"]
        .drop(columns="age_years")
        .assign(name=list(NAMES.values()), **{"Date of birth": births}, patient_id=list(record.values()))
    )
    sites = made["sites"].drop(columns="surgery_year")
    made["sites"] = sites.assign(
        patient_id=sites["patient_id"].map(record),
        operator=sites["operator"].map({"o1": "Dr. Peregrine Vole", "o2": "Dr. Hepzibah Stoat"}),
        surgery_date=[PLACED[site].isoformat() for site in sites["site_id"]],
    )
    visits = made["visits"]
    days = [round(float(months) * DAYS_A_MONTH) for months in visits["months"]]
    seen = [PLACED[site] + datetime.timedelta(n) for site, n in zip(visits["site_id"], days, strict=True)]
    made["visits"] = visits.drop(columns="months").assign(date=[day.isoformat() for day in seen])
    return made


def written(folder, made=None):
    folder.mkdir()
    for name, table in (made or as_a_centre_has_them()).items():
        table.to_csv(folder / f"{name}_quillfeather.csv", index=False)
    return folder


def everything(folder) -> str:
    return "\n".join(f"{path.name}\n{path.read_text(encoding='utf-8')}" for path in folder.iterdir()).lower()


def test_a_centres_tables_become_a_study_that_passes(tmp_path):
    made = pseudonymise(written(tmp_path / "in"), tmp_path / "out", KEY)
    write_plan(tmp_path / "out", {name: f"{name}.csv" for name in tables()})
    intake, problems = check_study(read_plan(tmp_path / "out"))
    assert problems == []
    assert sorted(intake.tables["patients"]["age_years"]) == [47, 54, 61]
    assert sorted(intake.tables["sites"]["surgery_year"]) == [2018, 2019, 2019, 2020]
    assert sorted(intake.tables["visits"]["months"]) == [0, 0.5, 6, 10, 12, 14, 25.5]
    assert pd.read_csv(tmp_path / "out" / LOG).equals(made.log)
    assert [NAME_GOES in str(line) or TWO_CENTRES in str(line) for line in made.told] == [True, True]


def test_no_identifier_or_date_of_the_centre_stands_anywhere(tmp_path):
    made = as_a_centre_has_them()
    pseudonymise(written(tmp_path / "in", made), tmp_path / "out", KEY)
    said = everything(tmp_path / "out")
    columns = [("patients", "name"), ("patients", "patient_id"), ("patients", "Date of birth"), ("sites", "operator")]
    columns += [("sites", "surgery_date"), ("visits", "date")]
    for table, column in columns:
        for value in made[table][column]:
            assert value.lower() not in said
            assert all(word not in said for word in re.findall(r"[a-z]{4,}", value.lower()) if word != "mrn")
    assert not re.search(r"\bs[1-4]\b", said)


def test_two_files_agree_and_another_key_does_not(tmp_path):
    source = written(tmp_path / "in")
    for name, key in (("a", KEY), ("b", KEY), ("c", OTHER)):
        pseudonymise(source, tmp_path / name, key)
    ids = {name: set(pd.read_csv(tmp_path / name / "patients.csv")["patient_id"]) for name in "abc"}
    assert ids["a"] == ids["b"] == set(pd.read_csv(tmp_path / "a" / "sites.csv")["patient_id"])
    assert not ids["a"] & ids["c"]


NAME_GOES = "says that it holds a person's name: dropped"
TWO_CENTRES = "of this name in more than one centre"  # the sound study's second operator


def outcome(tmp_path, change, options=None) -> tuple[list[str], pd.DataFrame]:
    """What is told, by line, and the log."""
    made = as_a_centre_has_them()
    change(made)
    done = pseudonymise(written(tmp_path / "in", made), tmp_path / "out", KEY, options)
    lines = list(map(str, done.told))
    assert not any(word in line.lower() for line in lines for word in ("quill", "2020/"))
    assert [NAME_GOES in line for line in lines].count(True) == 1
    return [line for line in lines if NAME_GOES not in line and TWO_CENTRES not in line], done.log


def refused(tmp_path, change, options=None) -> list[str]:
    made = as_a_centre_has_them()
    change(made)
    with pytest.raises(StudyError) as error:
        pseudonymise(written(tmp_path / "in", made), tmp_path / "out", KEY, options)
    assert not list(tmp_path.glob("out*"))
    lines = list(map(str, error.value.problems))
    assert not any(word in line.lower() for line in lines for word in ("quill", "2020/"))
    return lines


def column(tmp_path, table, name) -> list[str]:
    return pd.read_csv(tmp_path / "out" / f"{table}.csv", dtype=str, keep_default_na=False)[name].tolist()


def put(table, name, values):
    return lambda made: made[table].__setitem__(name, values)


def test_unknown_column_is_dropped_and_told(tmp_path):
    (line,), log = outcome(tmp_path, put("sites", "memo", ["a", "b", "", ""]))
    assert line.startswith("sites, column 24 (X): not a column of the dictionary: dropped.")
    assert ["sites.csv", "column 24 (X)", 2, 0] in log[["file", "column", "filled", "written"]].values.tolist()


def test_identifier_in_a_known_column_is_left_blank_and_told(tmp_path):
    heights = ["Ottoline Marrowbone", "2020-03-04", "z@example.org", "7"]
    lines, _ = outcome(tmp_path, put("sites", "rbh_min_mm", heights))
    assert [line.split(": ")[0] for line in lines] == [f"sites, row {row}, rbh_min_mm" for row in (2, 3, 4)]
    assert ["looks like" in line for line in lines] == [True, True, True]
    assert sorted(column(tmp_path, "sites", "rbh_min_mm")) == ["", "", "", "7"]


def test_labels_are_codes_alike_in_all_tables(tmp_path):
    outcome(tmp_path, put("sites", "protocol", ["Quillfeather", "A", "A", "B"]))
    assert all(re.fullmatch("t-[a-z2-7]{16}", code) for code in column(tmp_path, "sites", "protocol"))
    used, known = column(tmp_path, "steps", "instrument_id"), column(tmp_path, "instruments", "instrument_id")
    assert set(used) <= set(known)


def test_dates_that_cannot_be_told_are_one_line(tmp_path):
    (line,) = refused(tmp_path, put("sites", "surgery_date", ["03/04/2018", "03/05/2019", "13/05/2019", "03/06/2020"]))
    assert line.startswith("sites, rows 2, 3, 5, surgery_date: 3 cells: day and month cannot be told apart")


def test_no_date_of_surgery_is_told_only_where_there_is_none(tmp_path):
    """A site whose date cannot be read has one; a visit of it does not say that it has none."""
    dates = [PLACED["s1"].isoformat(), "soon", "", PLACED["s4"].isoformat()]
    lines, _ = outcome(tmp_path, put("sites", "surgery_date", dates))
    seen = {
        site: [line for line in lines if line.startswith("visits") and words in line]
        for site, words in {"s2": "cannot be read, as told", "s3": "has no date of placement or surgery"}.items()
    }
    assert {site: len(of_site) for site, of_site in seen.items()} == {"s2": 1, "s3": 1}


def test_visit_before_placement_is_blank_and_told(tmp_path):
    def early(made):
        made["visits"].loc[0, "date"] = "2018-05-16"

    (line,), _ = outcome(tmp_path, early)
    assert line.startswith("visits, row 2, visit_date: a day before the placement: left blank.")
    assert column(tmp_path, "visits", "months").count("") == 1


def test_two_columns_of_dates_for_one_purpose_are_refused(tmp_path):
    (line,) = refused(tmp_path, put("visits", "visit_date", as_a_centre_has_them()["visits"]["date"]))
    assert "more than one column of dates" in line


def test_ages_are_made_of_dates_where_the_column_of_ages_is_dropped(tmp_path):
    outcome(tmp_path, put("patients", "age_years", ""), Options(drop=frozenset({"age_years"})))
    assert sorted(column(tmp_path, "patients", "age_years")) == ["47", "54", "61"]


def test_age_from_90_on_is_90(tmp_path):
    outcome(tmp_path, put("patients", "Date of birth", ["1920-01-01", "1928-06-01", "1930-01-01"]))
    assert sorted(column(tmp_path, "patients", "age_years")) == ["90", "90", "90"]


def test_months_are_never_counted_from_surgery_where_placement_has_a_column(tmp_path):
    placement = [PLACED[site].isoformat() for site in as_a_centre_has_them()["sites"]["site_id"]]
    (line,), _ = outcome(tmp_path, put("sites", "placement_date", ["", *placement[1:]]))
    assert "its site has no date of placement or surgery: left blank" in line
    assert column(tmp_path, "visits", "months").count("") == 3


def test_hidden_sheet_of_a_table_is_refused(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["patient_id"])
    book.active.title = "patients"
    hidden = book.create_sheet("sites")
    hidden.append(["site_id", "patient_id"])
    hidden.append(["1", "1"])
    hidden.sheet_state = "hidden"
    book.save(tmp_path / "centre.xlsx")
    with pytest.raises(StudyError) as caught:
        pseudonymise(tmp_path / "centre.xlsx", tmp_path / "out", KEY)
    assert any("a hidden sheet bears a table's name" in str(problem) for problem in caught.value.problems)


def test_dropped_and_replaced_as_asked(tmp_path):
    made = as_a_centre_has_them()
    made["sites"] = made["sites"].assign(memo="about Zebedee", ward=["Marrowbone", "w", "w", ""])
    options = Options(drop=frozenset({"memo"}), replace=frozenset({"ward"}))
    log = pseudonymise(written(tmp_path / "in", made), tmp_path / "out", KEY, options).log
    assert sorted(code[:2] for code in column(tmp_path, "sites", "ward")) == ["", "x-", "x-", "x-"]
    assert "zebedee" not in everything(tmp_path / "out")
    assert set(pd.read_csv(tmp_path / "out" / "patients.csv")["centre"].str[:2]) == {"c-"}
    done = log[["file", "column", "done"]].values.tolist()
    assert ["sites.csv", "column 24 (X)", "dropped, as asked"] in done
    assert ["patients.csv", "column 7 (G)", "dropped: a person's name"] in done


def test_workbook_dates_are_taken_as_dates(tmp_path):
    made = as_a_centre_has_them()
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in made.items():
        sheet = book.create_sheet(name)
        sheet.append(list(table))
        for row in table.itertuples(index=False):
            sheet.append([datetime.date.fromisoformat(v) if re.fullmatch(r"\d{4}-\d\d-\d\d", v) else v for v in row])
    book.save(tmp_path / "centre.xlsx")
    pseudonymise(tmp_path / "centre.xlsx", tmp_path / "book", KEY)
    pseudonymise(written(tmp_path / "in"), tmp_path / "csv", KEY)
    for name in made:
        books, csvs = (pd.read_csv(tmp_path / kind / f"{name}.csv") for kind in ("book", "csv"))
        pd.testing.assert_frame_equal(books, csvs)


def test_command_makes_a_key_once_and_overwrites_nothing(tmp_path, capsys):
    source, key = written(tmp_path / "in"), tmp_path / "key"
    door = ["pseudonymise", str(source), str(tmp_path / "out"), "--key", str(key)]
    assert main(door) == 2
    assert main([*door, "--new-key"]) == 0
    assert main(door) == 2
    assert "is there already" in capsys.readouterr().err
    assert main(["pseudonymise", str(source), str(source / "out"), "--key", str(key)]) == 2
    assert main(["pseudonymise", str(source), str(tmp_path / "new"), "--key", str(source / "key"), "--new-key"]) == 2
    assert key.read_text().split()[1] not in everything(tmp_path / "out")

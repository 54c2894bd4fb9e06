"""The files beside an audit, each opened again: hostile names, no visits, no log, one operator."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import zipfile

import pandas as pd
import pytest
from audit_run import made_run
from docx import Document
from openpyxl import load_workbook

from liftseries.base.file_names import safe_name, safe_names
from liftseries.report.audit.extra_files import write_further_files
from liftseries.report.audit.own import OwnResults
from liftseries.report.audit.own_figures import figures_of
from liftseries.report.audit.records import Records
from liftseries.report.audit.review import review_table
from liftseries.report.audit.run_tables import RunTables
from liftseries.report.kit.blocks import Written
from liftseries.report.kit.typeset import set_page

HOSTILE = ("../x", "=cmd|' /C calc'!A0", "W" * 200, "chirurg 🦷 π", "con", "a/b\\c", "@SUM(1)")
SIX = ("a", "b", "c", "d", "e", "f")
AT_STANDARD = ", centre: standard, standard: 0.3"
NOTHING = Written((), {})


def one_in_twelve(operator: int, site: int) -> bool:
    return site % 12 == 0


def first_tears_half(operator: int, site: int) -> bool:
    """The first operator tears 12 of 24, the others 2 of 24."""
    return site % (2 if operator == 0 else 12) == 0


def text_of(pdf) -> str:
    """The words of a PDF, blanks and line ends as one blank."""
    told = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, check=True).stdout.decode()
    return " ".join(told.split())


def n_pages(pdf) -> int:
    told = subprocess.run(["pdfinfo", str(pdf)], capture_output=True, check=True).stdout.decode()
    return int(re.search(r"Pages:\s+(\d+)", told)[1])


@pytest.fixture(scope="module")
def six(tmp_path_factory):
    """Six operators, the first of whom tears half."""
    folder = tmp_path_factory.mktemp("six")
    material, output = made_run(folder, SIX, first_tears_half)
    write_further_files(material, NOTHING, output / "audit")
    return material, output


def files_in(folder) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_a_rerun_gives_the_same_bytes(six):
    material, output = six
    before = files_in(output / "audit")
    shutil.rmtree(output / "audit")
    write_further_files(material, NOTHING, output / "audit")
    assert files_in(output / "audit") == before
    assert len([name for name in before if name.startswith("records/")]) == 20
    assert {name for name in before if name.startswith("operators/")} == {f"operators/{unit}.pdf" for unit in SIX}


def test_the_workbook_has_all_cases_filters_and_columns_to_fill_in(six):
    material, output = six
    sheet, rule = load_workbook(output / "audit/cases_to_review.xlsx").worksheets
    rows = list(sheet.iter_rows(values_only=True))
    listed = material.table("audit_cases_to_review")
    assert [row[1] for row in rows[1:]] == listed["site_id"].tolist()
    assert rows[0][-2:] == ("Reviewer", "Conclusion")
    assert {row[-1] for row in rows[1:]} == {None}
    assert sheet.freeze_panes == "C2"
    assert sheet.auto_filter.ref == f"A1:AJ{len(listed) + 1}"
    assert rows[1][rows[0].index("Lowest residual bone height, mm")] == 4
    assert "Implant displaced within a year" in [row[1] for row in rule.iter_rows(values_only=True)]


def test_the_table_has_the_first_twenty_and_eight_columns(six):
    material, _ = six
    content = review_table(material, material.words)
    assert (len(content.rows), len(content.columns)) == (20, 8)
    first = material.table("audit_cases_to_review").iloc[0]
    assert content.rows[0][:2] == ("1", first["site_id"])
    # 10 mm less the stop of 6 mm: 4 mm deep, 0.8 mm short of the highest floor.
    assert content.rows[0][5] == "4.0 (−0.8)"


def test_a_record_has_both_ladders_and_the_volumes_of_the_cap(six):
    """h = 8 - 4.4 = 3.6, a = 5: π 3.6 (75 + 12.96) / 6 / 1000 = 0.1658 ml; 0.3 ml of fluid is 1.8 times that."""
    material, output = six
    record = Records(RunTables(output, material.plan)).record("S000")
    assert ["Planned lift, mm", "3.6"] in record["lift"]
    assert ["Spherical-cap volume", "0.17 ml"] in record["lift"]
    assert ["Fluid pressed in", "0.30 ml, 1.8 times the cap"] in record["lift"]
    # Planned: 3 mm (at most 4 - 1), 4 mm, 5 mm (the first beyond 4.8). In the guide: 8 + deepest - 10, at most 9 - 2.
    assert [row[3] for row in record["planned"]["rows"]] == ["3.0", "4.0", "5.0"]
    assert [row[4] for row in record["planned"]["rows"]] == ["−2.0", "1.0", "2.0"]
    assert [row[3] for row in record["drilled"]["rows"]] == ["3.0", "3.0", "4.0"]
    assert record["drilled"]["rows"][2][6] == "open"
    assert any("outside the guide" in line for line in record["findings"])
    assert record["visits"]["rows"][0][:3] == ["12.0", "functioning", "7.5"]
    (page,) = (path for path in (output / "audit/records").iterdir() if path.name.startswith("01-"))
    assert n_pages(page) == 1
    assert "FOR THE COMMITTEE AND THE UNIT LEAD" in text_of(page)


def test_own_results_tell_rate_flag_and_change(six):
    """The first tears 12 of 24, all units 22 of 144: 3.7 expected of 24."""
    _, output = six
    own = text_of(output / "audit/operators/a.pdf")
    assert "FOR THE PERSON" in own
    assert "12 of the 24 sites" in own
    assert "of 100 sites 50" in own
    assert "about 3.7 would be expected" in own
    assert "(alarm)" in own
    assert "clears nobody" not in own
    assert "To change: membrane torn, 50.0%" in own
    assert "2023 12 6" in own
    other = text_of(output / "audit/operators/b.pdf")
    assert "No flag: the count lies within the limits. That clears nobody" in other
    assert not re.search(r"\b[acdef]\b: ", other)


def test_the_lay_page_has_no_statistics(six):
    """22 of 144 sites are 15 of 100."""
    _, output = six
    lay = text_of(output / "audit/lay.pdf")
    assert "LAY AND BOARD" in lay
    assert "about 15 of 100 lifts" in lay
    assert not re.search(r"\bp\b|interval|%|odds|significan|rate\b|operator", lay)


def test_minutes_and_actions_have_the_flag(six):
    _, output = six
    document = Document(output / "audit/minutes.docx")
    told = [paragraph.text for paragraph in document.paragraphs]
    assert told[0] == "For the committee"
    assert "a: 12 tears at 24 sites; expected 3.7" in told
    assert "No reply." in told
    heads = [table.rows[0].cells[0].text for table in document.tables]
    stages = document.tables[2]
    assert [cell.text for cell in stages.rows[1].cells][:4] == [
        "1", "Confidential talk", "chair of the committee", "10",
    ]  # fmt: skip
    assert [row.cells[1].text for row in stages.rows][2:] == ["Data quality", "Case mix", "Chance", "Cause"]
    assert heads == ["Date", "Role", "Stage", "What is decided", "Number or site", "Next meeting", "Role"]
    actions = pd.read_csv(output / "audit/actions_next.csv", keep_default_na=False)
    assert list(actions) == ["id", "year", "indicator", "unit", "what", "owner", "due", "measure", "status"]
    assert actions.loc[0, ["id", "indicator", "unit", "what", "owner", "due", "status"]].tolist() == [
        "2024-1", "perforation", "a", "", "", "", "open",
    ]  # fmt: skip


def strips_of_units(values: dict[str, float], few: tuple[str, ...] = ()) -> pd.DataFrame:
    row = {"indicator": "probed", "counts": "sites", "good": "high", "n_events": 5, "counted": 20, "conf_low": 0.1}
    row |= {"conf_high": 0.9, "standard": None}
    return pd.DataFrame(
        [row | {"unit": unit, "value": value, "enough": unit not in few} for unit, value in values.items()]
    )


@pytest.mark.parametrize(
    ("few", "with_group", "spread"),
    [((), True, "20.0% to 70.0%"), (("c",), True, ""), ((), False, ""), (("a",), True, "20.0% to 70.0%")],
)
def test_the_others_spread_is_shown_without_names_from_five_of_them_on(few, with_group, spread):
    """Of a: the others lie from 0.2 to 0.7, five of them; with one that has too few cases only four are left."""
    values = {"all": 0.5, "a": 0.9, "b": 0.2, "c": 0.4, "d": 0.5, "e": 0.6, "f": 0.7}
    (figure,) = figures_of(strips_of_units(values, few), "a", with_group, {})
    assert figure.spread == spread


def test_hostile_names_are_safe_as_files_and_as_texts(tmp_path):
    material, output = made_run(tmp_path, HOSTILE, first_tears_half, lambda k: f"{HOSTILE[k % 7]}{k}", n_sites=8)
    write_further_files(material, NOTHING, output / "audit")
    files = list(files_in(output / "audit"))
    assert len([name for name in files if name.startswith("operators/")]) == len(HOSTILE)
    assert all(re.fullmatch(r"(\w+/)?[A-Za-z0-9_-]{1,60}\.(pdf|docx|xlsx|csv)", name) for name in files), files
    assert not list(tmp_path.glob("x*"))
    for path in (output / "audit").rglob("*.pdf"):
        assert n_pages(path) == 1, path
    sheet = load_workbook(output / "audit/cases_to_review.xlsx").worksheets[0]
    cells = [cell for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} <= {"s", "n"}
    assert any(str(cell.value).startswith("=cmd") for cell in cells)
    with zipfile.ZipFile(output / "audit/cases_to_review.xlsx") as parts:
        assert b"<f>" not in parts.read("xl/worksheets/sheet1.xml")
    Document(output / "audit/minutes.docx")


@pytest.mark.parametrize(("log", "visits"), [(False, True), (True, False), (False, False)])
def test_without_a_log_or_visits_the_records_say_so(tmp_path, log, visits):
    material, output = made_run(tmp_path, SIX[:2], one_in_twelve, n_sites=12, log=log, visits=visits)
    write_further_files(material, NOTHING, output / "audit")
    record = text_of(next((output / "audit/records").glob("01-*")))
    assert ("No drilling log of this site." in record) != log
    assert ("No visit is recorded." in record) != visits


def test_one_operator_stands_alone(tmp_path):
    material, output = made_run(tmp_path, ("only",), one_in_twelve)
    write_further_files(material, NOTHING, output / "audit")
    own = text_of(output / "audit/operators/only.pdf")
    assert "Fewer than five others" in own
    assert "expected" not in own
    assert "All units" not in own
    assert "flag" not in own.partition("A result beyond")[0]


def test_few_others_are_told_against_the_standard_only(tmp_path):
    material, output = made_run(
        tmp_path, SIX[:5], first_tears_half, n_sites=90, audit=", centre: standard, standard: 0.3"
    )
    own = OwnResults(RunTables(output, material.plan), material.results)
    page = own.page("a")
    told = " ".join(page["lines"])
    assert not own.against_group("a")
    assert "27.0 would be expected at the committee's standard" in told
    assert "All units" not in page["sections"][1]["headings"]
    assert "against a standard of 30.0%" in told


def test_no_case_to_review_gives_an_empty_list(tmp_path):
    material, output = made_run(tmp_path, SIX, lambda operator, site: False, n_sites=6, visits=False)
    write_further_files(material, NOTHING, output / "audit")
    assert review_table(material, material.words) is None
    assert not (output / "audit/records").exists()
    assert load_workbook(output / "audit/cases_to_review.xlsx").worksheets[0].max_row == 1


def test_names_of_files():
    assert safe_name("op_01-a") == "op_01-a"
    assert safe_name("../x") != safe_name("x")
    assert re.fullmatch(r"[A-Za-z0-9_-]{1,41}", safe_name("é" * 300))
    assert safe_name("NUL") != "NUL"
    both = safe_names(["op1", "OP1", "op2"])
    assert both["op2"] == "op2"
    assert len({name.casefold() for name in both.values()}) == 3


def test_a_letter_that_the_type_lacks_stops_no_page(tmp_path):
    page = {"title": "🦷\x07", "mark": "", "paper": "a5", "flipped": False, "size": 9, "lines": [], "sections": []}
    (tmp_path / "page.pdf").write_bytes(set_page("sheet.typ", page | {"foot": "a"}))
    assert "□□" in text_of(tmp_path / "page.pdf")


def test_a_workbook_is_a_whole_zip(six):
    _, output = six
    with zipfile.ZipFile(io.BytesIO((output / "audit/cases_to_review.xlsx").read_bytes())) as parts:
        assert parts.testzip() is None

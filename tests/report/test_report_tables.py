"""Tables: every estimate can be traced, every problem stands in words, files are the same bytes twice."""

import csv
import io
import zipfile
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_series import KINDS, PLAN

from liftseries.base.remarks import remark
from liftseries.base.tables import read_table
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.report.kit.material import COLUMNS, Material, Withheld, read_material
from liftseries.report.kit.numbers import exponent, interval, percent, ratio
from liftseries.report.kit.quoted import below_gate
from liftseries.report.kit.tables.cells import Display, traced
from liftseries.report.kit.tables.making import make_tables
from liftseries.report.kit.words import trace_of
from liftseries.report.pages.table_files import as_csv, as_docx, write_tables
from liftseries.report.purposes import purpose


def displays(material: Material) -> dict[str, Display]:
    return make_tables(purpose("publication").tables, material)


@pytest.fixture(scope="module")
def material(made, tmp_path_factory):
    """The output folder of a series, read as the report reads it."""

    def read(kind):
        return read_material(made[kind].leave_in(tmp_path_factory.mktemp(kind)), PLAN)

    return {kind: read(kind) for kind in KINDS}


@pytest.mark.parametrize("kind", KINDS)
def test_every_row_of_results_can_be_traced(material, kind):
    tables = displays(material[kind])
    rows = material[kind].results
    assert len(rows) > 10
    rows = rows[rows["estimate"].notna() & ~below_gate(rows)]  # the others are told by the chapters' lists, or nowhere
    shown = set().union(*(traced(table) for table in tables.values()))
    assert {trace_of(row) for _, row in rows[rows["analysis"].ne(DESIGN_EFFECT)].iterrows()} <= shown


def test_an_analysis_without_a_table_of_its_own_is_not_lost(material):
    full = material["full"]
    extra = full.results.iloc[[0]].assign(
        analysis="perforation.other", term="rbh_mid_mm", scale="log_odds", estimate=0.0
    )
    more = replace(full, tables={**full.tables, "results": pd.concat([full.results, extra])})
    table = displays(more)["other_estimates"]
    assert table.rows[0][0] == "perforation.other"
    assert table.rows[0][-1] == "perforation.other · all · rbh_mid_mm"


def test_log_odds_are_shown_as_odds_ratios(material):
    full = material["full"]
    row = full.rows("perforation.firth").query("term == 'rbh_mid_mm' and headline").iloc[0]
    (shown,) = [
        r for r in displays(full)["perforation_odds"].rows if r[-1].endswith("rbh_mid_mm · profile_or_jackknife")
    ]
    low, high = np.exp(row["conf_low"]), np.exp(row["conf_high"])
    assert shown[1] == f"{np.exp(row['estimate']):.2f} ({low:.2f} to {high:.2f})"


def test_rates_stand_with_denominator_and_interval(material):
    full = material["full"]
    row = full.rows("perforation.rate", "all").query("method == 'patients'").iloc[0]
    shown = displays(full)["perforation_rate"].rows[0]
    assert shown[0] == "All sites"
    assert shown[1] == f"{int(row['n_events'])} of {int(row['n_sites'])} ({100 * row['estimate']:.1f}%)"
    assert shown[3] == interval(row["estimate"], row["conf_low"], row["conf_high"], percent)


def test_what_could_not_be_estimated_says_why_in_the_table(material):
    tables = displays(material["no_visits_no_log"])
    assert any("not estimated: no implant was followed" in cell for row in tables["survival"].rows for cell in row)
    assert any("not estimated: no site has both an achieved" in row[1] for row in tables["depth_agreement"].rows)


def test_columns_of_unit_and_level_read_well(material):
    rows = displays(material["full"])["characteristics"].rows
    names = [row[0] for row in rows]
    assert "Residual bone height, mm (sites)" in names
    assert names[names.index("Smoking (patients)") + 1] == "   never"
    assert "   missing" in names
    assert all(len(row) == 4 for row in rows)  # name, all, protocol A, protocol B


def second_opinion(full: Material) -> Material:
    """A row without a difference worth telling, one with a known reason, one without an answer."""
    rows = [
        ("perforation.rate", "wilson", "statsmodels", 1, 2e-16, 3e-16, None, None),
        ("survival.cox", "sandwich", "lifelines", 3, 1e-9, 0.0034, remark("no_efron_weights"), None),
        ("gain.mixed", "reml", "statsmodels", 0, None, None, None, remark("no_estimate_to_compare")),
    ]
    table = pd.DataFrame(rows, columns=COLUMNS["second_opinion"].split())
    return replace(full, tables={**full.tables, "second_opinion": table})


def test_second_opinion_is_told_as_the_largest_difference_and_why(material):
    told = displays(second_opinion(material["full"]))["second_opinion"].rows
    assert [row[1:] for row in told] == [
        ("statsmodels", "1", "equal to six digits", "equal to six digits", ""),
        ("lifelines", "3", "equal to six digits", "0.34 %", remark("no_efron_weights")),
    ]
    assert "second_opinion" not in displays(material["full"])


def test_second_opinion_stays_in_the_house(material):
    withheld = Withheld(5, 10, 20, 9, 1, 1, False)
    assert "second_opinion" not in displays(replace(second_opinion(material["full"]), withheld=withheld))


def test_a_table_reads_back_as_it_was_printed(material):
    for table in displays(material["full"]).values():
        head, *rows = csv.reader(io.StringIO(as_csv(table)))
        assert tuple(head) == table.columns
        assert [tuple(row) for row in rows] == [tuple(cell.strip() for cell in row) for row in table.rows]


def test_files_are_the_same_bytes_twice_and_word_reads_them(material, tmp_path):
    from docx import Document

    tables = displays(material["full"])
    for run in ("one", "two"):
        write_tables(displays(material["full"]), tmp_path / run)
    assert len(list((tmp_path / "one").iterdir())) == 2 * len(tables)
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes(), path.name
    for table in tables.values():
        document = Document(tmp_path / "one" / f"{table.name}.docx")
        (grid,) = document.tables
        assert [cell.text for cell in grid.rows[0].cells] == list(table.columns)
        assert len(grid.rows) == len(table.rows) + 1
        assert document.paragraphs[0].text == table.caption


def test_docx_repeats_its_heading_and_holds_no_time_or_author(material):
    table = displays(material["full"])["perforation_rate"]
    with zipfile.ZipFile(io.BytesIO(as_docx(table))) as docx:
        assert {entry.date_time for entry in docx.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert b"w:tblHeader" in docx.read("word/document.xml")
        core = docx.read("docProps/core.xml").decode()
    assert "python" not in core.lower()
    assert core.count("1980-01-01T00:00:00Z") == 2


def test_a_level_called_NA_stays_a_level(tmp_path):
    (tmp_path / "t.csv").write_text("subset,term,estimate\nprotocol=NA,12,\nNA,36,0.5\n", encoding="utf-8")
    table = read_table(tmp_path / "t.csv")
    assert table["subset"].tolist() == ["protocol=NA", "NA"]
    assert table["term"].tolist() == ["12", "36"]
    assert table["estimate"].isna().tolist() == [True, False]


def test_a_folder_without_files_is_empty_material(tmp_path):
    material = read_material(tmp_path, PLAN)
    assert material.results.empty
    assert displays(material) == {}


def test_extreme_logarithms_are_no_crash():
    assert ratio(exponent(900)) == ">9999"
    assert ratio(exponent(-900)) == "<0.01"

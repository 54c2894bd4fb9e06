"""A table of many centres: its first rows on the page and in DOCX, all of them in CSV, and a sentence that says so."""

import csv
import io
import re

import numpy as np
import pandas as pd
import pytest
from docx import Document

from liftseries.report.kit.tables.cells import Display
from liftseries.report.kit.tables.cut import MOST_ROWS, cut
from liftseries.report.pages.table_files import write_tables
from liftseries.report.perforation.recorded_figures import draw_learning
from liftseries.report.survival.hazard_figures import draw_proportional_hazards


def table_of(n: int, note: str = "") -> Display:
    rows = tuple((f"centre {k}", str(k)) for k in range(n))
    return Display("centres", "By centre.", ("Centre", "Torn"), rows, note, tuple(f"row {k}" for k in range(n)))


@pytest.mark.parametrize("n", [1, MOST_ROWS])
def test_a_table_that_fits_stays_as_it_is(n):
    assert cut(table_of(n), "tables/centres.csv") == table_of(n)


def test_of_a_long_one_the_first_rows_stand_and_the_note_says_where_all_are():
    found = cut(table_of(MOST_ROWS + 250, "Unknown: left out."), "tables/centres.csv")
    assert found.rows == table_of(MOST_ROWS).rows
    assert found.keys == table_of(MOST_ROWS).keys
    first, second = found.note.split("\n")
    assert first == f"The first {MOST_ROWS} of {MOST_ROWS + 250} rows; tables/centres.csv has all of them."
    assert second == "Unknown: left out."


def test_the_csv_has_all_rows_and_the_docx_the_first(tmp_path):
    write_tables({"centres": table_of(MOST_ROWS + 5)}, tmp_path)
    rows = list(csv.reader(io.StringIO((tmp_path / "centres.csv").read_text(encoding="utf-8"))))
    assert [row[0] for row in rows[1:]] == [f"centre {k}" for k in range(MOST_ROWS + 5)]
    written = Document(tmp_path / "centres.docx")
    assert len(written.tables[0].rows) <= MOST_ROWS + 3
    assert any("centres.csv has all of them" in paragraph.text for paragraph in written.paragraphs)


def svg_bytes(drawing) -> int:
    stream = io.StringIO()
    drawing.figure.savefig(stream, format="svg")
    return len(stream.getvalue())


def residuals(n: int) -> pd.DataFrame:
    rng = np.random.default_rng(1)
    months = np.sort(rng.uniform(0, 60, n))
    return pd.DataFrame(
        {"term": "rbh_mid_mm", "months": months, "residual": rng.standard_normal(n), "smooth": 0.1, "coefficient": 0.2}
    )


def test_many_residuals_are_a_picture_within_the_figure():
    test = pd.DataFrame(
        [{"analysis": "survival.ph", "headline": True, "estimate": 1.0, "note": "", "problem": "", "term": "rbh_mid_mm",
          "method": "score_clustered", "n_sites": 9000, "n_patients": 5000, "n_events": 5000}]
    )  # fmt: skip
    few, many = (draw_proportional_hazards(residuals(n), test) for n in (400, 5000))
    assert not any(line.get_rasterized() for line in few.figure.axes[0].lines)
    assert sum(bool(line.get_rasterized()) for line in many.figure.axes[0].lines) == 1
    assert svg_bytes(many) < 2 * svg_bytes(few)


def learning(n_cases: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Rates of three bands, and cases of a hundred operators with so many each."""
    rates = pd.DataFrame(
        [{"analysis": "perforation.learning", "subset": f"case={band}", "term": "rate", "method": "patients",
          "headline": True, "estimate": 0.1, "conf_low": 0.05, "conf_high": 0.2, "n_sites": 500, "n_patients": 400,
          "n_events": 50, "note": "", "problem": ""} for band in ("1 to 10", "11 to 20", ">20")]
    )  # fmt: skip
    case = np.tile(np.arange(1, n_cases + 1), 100)
    cases = pd.DataFrame({"operator_case_no": case, "patient_id": np.arange(len(case)).astype(str)})
    return rates, cases.assign(perforation=np.where(np.arange(len(case)) % 7 == 0, "yes", "no"))


def test_where_operators_have_hundreds_of_cases_the_bands_stand_side_by_side_without_a_rug():
    (axes,) = draw_learning(*learning(3000)).figure.axes
    assert [label.get_text() for label in axes.get_xticklabels()] == ["1 to 10", "11 to 20", ">20"]
    widths = {round(float(np.ptp(line.get_xdata())), 6) for line in axes.lines}
    assert widths == {0.9}


def test_a_case_number_that_many_operators_share_is_drawn_once():
    drawing = draw_learning(*learning(20))
    n_lines = sum(len(c.get_segments()) for c in drawing.figure.axes[1].collections)
    assert n_lines == 2 * 20
    assert re.search(r"2,?000", drawing.covers)

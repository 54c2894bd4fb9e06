"""Tables: every estimate can be traced, every problem stands in words, files are the same bytes twice."""

import csv
import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_series import KINDS, PLAN

from liftseries.base.remarks import remark
from liftseries.base.tables import read_table
from liftseries.report.kit.material import COLUMNS, Material, Withheld, read_material
from liftseries.report.kit.numbers import exponent, interval, percent, ratio
from liftseries.report.kit.tables.cells import TRACE, Display
from liftseries.report.kit.tables.layout import alignment, cells_in_line, column_widths, fits, text_width, unbroken
from liftseries.report.kit.tables.making import MadeTables
from liftseries.report.pages.table_files import as_csv, write_tables
from liftseries.report.purposes import purpose


def displays(material: Material) -> dict[str, Display]:
    return MadeTables(purpose("publication").tables, material)


def test_log_odds_are_shown_as_odds_ratios(materials):
    full = materials["full"]
    row = full.rows("perforation.firth").query("term == 'rbh_mid_mm' and headline").iloc[0]
    keyed = [
        (key, line) for table in displays(full).values() for key, line in zip(table.keys, table.rows, strict=False)
    ]
    key = "perforation.firth · all · rbh_mid_mm · profile_or_jackknife"
    shown = [cell for keys, line in keyed if key in keys.split("; ") for cell in line]
    low, high = np.exp(row["conf_low"]), np.exp(row["conf_high"])
    assert f"{np.exp(row['estimate']):.2f} ({low:.2f} to {high:.2f})" in shown


def test_rates_stand_with_denominator_and_interval(materials):
    full = materials["full"]
    row = full.rows("perforation.rate", "all").query("method == 'patients'").iloc[0]
    shown = displays(full)["perforation_rate"].rows[0]
    assert shown[0] == "All sites"
    assert shown[1] == f"{int(row['n_events'])} of {int(row['n_sites'])} ({100 * row['estimate']:.1f}%)"
    assert shown[3] == interval(row["estimate"], row["conf_low"], row["conf_high"], percent)


def second_opinion(full: Material) -> Material:
    """A row without a difference worth telling, one with a known reason, one without an answer."""
    rows = [
        ("perforation.rate", "wilson", "statsmodels", 1, 2e-16, 3e-16, None, None),
        ("survival.cox", "sandwich", "lifelines", 3, 1e-9, 0.0034, remark("no_efron_weights"), None),
        ("gain.mixed", "reml", "statsmodels", 0, None, None, None, remark("no_estimate_to_compare")),
    ]
    table = pd.DataFrame(rows, columns=COLUMNS["second_opinion"].split())
    return replace(full, tables={**full.tables, "second_opinion": table})


def test_second_opinion_is_told_as_the_largest_difference_and_why(materials):
    told = displays(second_opinion(materials["full"]))["second_opinion"].rows
    assert [row[1:] for row in told] == [
        ("statsmodels", "1", "equal to six digits", "equal to six digits", ""),
        ("lifelines", "3", "equal to six digits", "0.34 %", remark("no_efron_weights")),
    ]
    assert "second_opinion" not in displays(materials["full"])


def test_second_opinion_stays_in_the_house(materials):
    withheld = Withheld(5, 10, 20, 9, 1, 1, False)
    assert "second_opinion" not in displays(replace(second_opinion(materials["full"]), withheld=withheld))


@pytest.mark.parametrize("kind", KINDS)
def test_a_table_has_at_most_eight_columns_and_a_key_for_each_row(materials, kind):
    too_wide = {name: len(table.columns) for name, table in displays(materials[kind]).items() if len(table.columns) > 8}
    assert too_wide == {}
    for table in displays(materials[kind]).values():
        assert len(table.keys) in (0, len(table.rows)), table.name
        assert TRACE not in table.columns
        assert {len(row) for row in table.rows} == {len(table.columns)}, table.name


def test_a_table_reads_back_as_it_was_printed_with_its_keys_last(materials):
    for table in displays(materials["full"]).values():
        head, *rows = csv.reader(io.StringIO(as_csv(table)))
        assert tuple(head) == (*table.columns, *([TRACE] if table.keys else []))
        n = len(table.columns)
        assert [tuple(row[:n]) for row in rows] == [tuple(cell.strip() for cell in row) for row in table.rows]
        assert [row[n] for row in rows if table.keys] == list(table.keys)


def test_files_are_the_same_bytes_twice(materials, tmp_path):
    tables = displays(materials["full"])
    for run in ("one", "two"):
        write_tables(displays(materials["full"]), tmp_path / run)
    assert len(list((tmp_path / "one").iterdir())) == 2 * len(tables)
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes(), path.name


def made_up(*columns: tuple[str, ...]) -> Display:
    """A table whose first column names its rows."""
    names = tuple(f"row {k}" for k in range(len(columns[0])))
    headings = ("", *(f"column {k}" for k in range(len(columns))))
    return Display("made_up", "Made up.", headings, tuple(zip(names, *columns, strict=True)))


def test_columns_are_aligned_by_what_stands_in_them():
    counts, shares = ("9", "120", "not known"), ("5 of 9 (55.6%)", "46 of 634 (7.3%)", "")
    intervals, words = (
        ("9.7% (5.4% to 9.7%)", "12.20% (9.1% to 15.0%)", "withheld"),
        ("a", "4 mm or more, and so on", "1"),
    )
    table = made_up(counts, shares, intervals, words)
    assert [alignment(table, k) for k in range(5)] == ["left", "right", "right", "decimal", "left"]


def test_decimal_points_stand_in_line():
    cells = [row[1] for row in cells_in_line(made_up(("9.7% (5.4% to 9.7%)", "12.20%", "<0.1%", "")))]
    figure_space = chr(0x2007)
    assert [cell.count(figure_space) for cell in cells] == [1, 0, 0, 0]
    assert {cell.index(".") for cell in cells if cell} == {2}


@pytest.mark.parametrize(
    ("cell", "pieces"),
    [
        ("97.0% (95.4% to 98.4%)", ["97.0%", "(95.4% to 98.4%)"]),
        ("46 of 634 (7.3%)", ["46 of 634", "(7.3%)"]),
        ("Residual height 4 to <6 mm", ["Residual", "height", "4 to <6 mm"]),
        ("what was found (and written down) there", ["what", "was", "found", "(and", "written", "down)", "there"]),
    ],
)
def test_an_interval_or_a_count_is_not_torn_apart(cell, pieces):
    assert [piece.replace(chr(0xA0), " ") for piece in unbroken(cell).split(" ")] == pieces


def test_columns_share_the_width_by_what_they_need():
    long = "a sentence that says at some length what was found and why it matters"
    table = made_up(("12", "7"), (long, "short"))
    name, number, sentence = column_widths(table, 200, 7, 5)
    assert name + number + sentence == pytest.approx(200)
    assert sentence > 2 * number
    assert number >= 7 * text_width("column") + 5
    assert not fits(table, 200, 7, 5)
    assert fits(table, 900, 7, 5)


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

"""The chapter on bone: it prints the headline rows, and nothing of fewer than five measurements."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from liftseries.base.remarks import WITHHELD_COUNT
from liftseries.models.gain.marginal import fit_bone_marginal
from liftseries.report.gain import report_chapter, supplement_chapter
from liftseries.report.gain.answers import bone
from liftseries.report.gain.figures import Panel, draw_bone_over_time
from liftseries.report.gain.sentences import gain_sentence, marginal_sentence, stability_sentence
from liftseries.report.gain.tables import bone_at_months_table, bone_methods_table, stability_table
from liftseries.report.kit.numbers import decimal
from liftseries.report.kit.tables.cells import traced
from liftseries.report.kit.writer import Writer
from liftseries.report.purposes import purpose

MOST_COLUMNS = 8
SVG_BYTES = 150_000


@pytest.fixture(scope="module")
def material(materials):
    return materials["full"]


def with_rows(material, change):
    """The material with its results changed by a function."""
    return replace(material, tables={**material.tables, "results": change(material.results.copy())})


def with_row(material, analysis, term, **cells):
    """The material with cells of one row changed."""

    def change(rows):
        at = rows["analysis"].eq(analysis) & rows["term"].eq(term)
        return rows.assign(**{name: rows[name].mask(at, value) for name, value in cells.items()})

    return with_rows(material, change)


def row_of(material, analysis, term):
    rows = material.rows(analysis, "all")
    return rows[rows["term"].eq(term) & rows["headline"]].iloc[0]


def test_the_sentence_quotes_the_sites_mean_and_the_corrected_change(material):
    mean, change = row_of(material, "gain.mixed", "mean at 12"), row_of(material, "gain.mixed", "change per year")
    assert (mean["method"], change["method"]) == ("patients", "corrected")
    told = gain_sentence(material)
    limits = f"({decimal(mean['conf_low'])} to {decimal(mean['conf_high'])})"
    people = f"{mean['n_sites']:g} sites of {mean['n_patients']:g} patients"
    assert f"at 12 months was {decimal(mean['estimate'])} mm {limits} over {people}" in told.text
    assert told.source == "gain.mixed · all · mean at 12 · patients; gain.mixed · all · change per year · corrected"


@pytest.mark.parametrize(
    ("low", "high", "gain", "marginal"),
    [
        (0.1, 0.3, "rose by 0.20 mm (0.10 to 0.30) a year", "0.20 mm (0.10 to 0.30) deeper with each year"),
        (-0.3, -0.1, "fell by 0.20 mm (0.10 to 0.30) a year", "0.20 mm (0.10 to 0.30) higher with each year"),
        (-0.1, 0.3, "a rise and with a fall", "compatible with either direction"),
    ],
)
def test_a_change_has_a_direction_only_where_its_interval_has_one(material, low, high, gain, marginal):
    cells = {"estimate": (low + high) / 2, "conf_low": low, "conf_high": high}
    assert gain in gain_sentence(with_row(material, "gain.mixed", "change per year", **cells)).text
    assert marginal in marginal_sentence(with_row(material, "bone.marginal", "change per year", **cells)).text


def test_a_change_without_an_interval_is_not_told(material):
    none = with_row(material, "gain.mixed", "change per year", conf_low=np.nan, conf_high=np.nan)
    assert "mixed model" not in gain_sentence(none).text


def test_a_row_that_is_no_headline_is_not_quoted(material):
    none = with_rows(material, lambda rows: rows.assign(headline=False))
    assert (gain_sentence(none), marginal_sentence(none), stability_sentence(none), bone(none)) == (None,) * 4
    at_months = bone_at_months_table(none, none.words).rows
    cells = {cell for row in at_months for cell in row[1:] if cell and " / " not in cell}
    assert cells == {"fewer than 5 measurements"}
    assert {row[2:4] for row in stability_table(none, none.words).rows} == {("", "")}


def test_shares_beyond_two_millimetres_are_told_by_their_counts(material):
    told = marginal_sentence(material)
    row = row_of(material, "bone.marginal", "beyond 2 at 60")
    assert f"{row['n_events']:g} of {row['n_sites']:g} sites at 60 months" in told.text
    assert f"at 60 months ({row_of(material, 'bone.marginal', 'mean at 60')['n_sites']:g} sites)" in told.text
    assert "bone.marginal · all · beyond 2 at 60 · patients" in told.source.split("; ")


def test_nobody_beyond_is_a_bound(material):
    none = {"estimate": 0.0, "std_error": np.nan, "conf_low": 0.0, "conf_high": 0.081, "n_events": 0}
    n = row_of(material, "bone.marginal", "beyond 2 at 60")["n_sites"]
    told = marginal_sentence(with_row(material, "bone.marginal", "beyond 2 at 60", **none)).text
    assert f"none of {n:g} sites at 60 months (at most 8.1%)" in told


def test_torque_is_told_by_bone_quality_where_there_are_several(material):
    told = stability_sentence(material)
    level = row_of(with_rows(material, lambda r: r[r["subset"].eq("bone_quality=2")].assign(subset="all")),
                   "stability.torque", "mean")  # fmt: skip
    assert f"{decimal(level['estimate'], 1)} in " in told.text
    assert "stability.torque · bone_quality=2 · mean" in told.source.split("; ")
    alone = with_rows(material, lambda rows: rows[rows["subset"].eq("all")])
    assert "quality" not in stability_sentence(alone).text


def test_terms_are_told_once_and_the_change_by_the_year(material):
    table = bone_methods_table(material, material.words)
    assert len(table.columns) <= MOST_COLUMNS
    first = [key.split("; ")[0] for key in table.keys]
    assert len(first) == len(set(first))
    assert all(key.endswith("· corrected") for key in first)
    assert not any("· months ·" in key or "at 12" in key for keys in table.keys for key in keys.split("; "))
    assert {"gain.mixed · all · months · corrected", "bone.marginal · all · months · reml"} <= traced(table)


def test_months_are_columns_up_to_six_and_rows_beyond(made, material):
    few = bone_at_months_table(material, material.words)
    assert few.columns == ("", "12 months", "36 months", "60 months")
    series = made["full"]
    many = fit_bone_marginal(series.visits, series.cases, range(9, 16)).rows
    long = replace(material, tables={**material.tables, "results": many})
    table = bone_at_months_table(long, long.words)
    assert [row[0] for row in table.rows] == ["9", "10", "11", "12", "13", "14", "15"]
    assert len(table.columns) <= MOST_COLUMNS
    assert "bone.marginal · all · mean at 15 · patients" in traced(table)


def test_the_first_page_has_no_month_with_fewer_than_twenty_sites(material):
    answer = bone(material)
    assert "at 12 months" in answer.text
    assert "graft may pass for bone" in answer.sure
    few = with_row(material, "bone.marginal", "mean at 60", n_sites=19)
    assert "60 months" in answer.text
    assert "60 months" not in bone(few).text
    withheld = with_row(material, "bone.marginal", "mean at 60", n_sites=WITHHELD_COUNT)
    assert "60 months" in bone(withheld).text  # no n of a mean leaves; twice the smallest cell stands behind it


def test_without_visits_only_stability_is_told(materials):
    told = materials["no_visits_no_log"]
    assert bone(told) is None
    writer = Writer(purpose("publication"), told)
    (sentence,) = report_chapter.blocks(writer)
    assert "torque" in sentence.text
    assert "gain" not in sentence.text
    assert [block.display.name for block in supplement_chapter.blocks(writer)] == ["stability"]
    nothing = Writer(purpose("publication"), materials["empty"])
    assert list(report_chapter.blocks(nothing)) == list(supplement_chapter.blocks(nothing)) == []


def test_means_of_fewer_than_five_are_not_drawn_and_headlines_take_their_month():
    """Recalls of 4, 5 and 30 measurements; the headline at 12 months stands for the recall there."""
    headline = pd.DataFrame(
        {"term": ["mean at 12"], "n_sites": [28], "estimate": [0.6], "conf_low": [0.5], "conf_high": [0.7]}
    )
    by_visit = pd.DataFrame(
        {"months": [0, 6, 12, 24], "n": [4, 5, 30, 4], "mean": [0.1, 0.3, 0.62, 0.9], "sd": [0.1, 0.2, 0.3, 0.4]}
    )
    panel = Panel("", headline, by_visit, (0.0, ""))
    assert panel.means[["months", "n", "mean", "sd"]].to_numpy().tolist() == [[6, 5, 0.3, 0.2], [12, 28, 0.6, 0.3]]


def drawing_of(series, narrow=False, **changes):
    reads = {
        "gain": series.rows("gain.mixed"),
        "marginal": series.rows("bone.marginal"),
        "gain_by_visit": series.read("gain_by_visit"),
        "bone_by_visit": series.read("bone_by_visit"),
    }
    return draw_bone_over_time(**reads | changes, narrow=narrow)


def test_two_panels_stand_side_by_side_or_one_above_the_other(made):
    series = made["full"]
    wide, narrow = drawing_of(series), drawing_of(series, narrow=True)
    left, right = (axes.get_position() for axes in wide.figure.axes)
    assert left.x1 < right.x0
    assert left.y0 == right.y0
    upper, lower = (axes.get_position() for axes in narrow.figure.axes)
    assert upper.y0 > lower.y1
    assert upper.x0 == lower.x0
    assert wide.alt == narrow.alt


def test_no_line_joins_the_means_and_the_file_is_small(made, tmp_path):
    drawing = drawing_of(made["full"])
    assert not [line for axes in drawing.figure.axes for line in axes.lines if line.get_marker() == "o"
                and line.get_linestyle() != "None"]  # fmt: skip
    drawing.figure.savefig(tmp_path / "bone.svg")
    assert (tmp_path / "bone.svg").stat().st_size < SVG_BYTES


def test_a_panel_without_measurements_is_left_out(made):
    series = made["full"]
    none = {"marginal": series.rows("bone.marginal").iloc[:0], "bone_by_visit": series.read("bone_by_visit").iloc[:0]}
    drawing = drawing_of(series, **none)
    assert len(drawing.figure.axes) == 1
    assert "arginal" not in drawing.alt + drawing.covers
    assert drawing_of(made["no_visits_no_log"]) is None


def test_a_withheld_count_is_a_dash_and_no_number(made):
    series = made["full"]
    by_visit = series.read("gain_by_visit").assign(n=WITHHELD_COUNT)
    drawing = drawing_of(series, gain_by_visit=by_visit)
    assert " at 6 months, " in drawing.alt  # without a number of measurements
    assert "-1" not in drawing.alt
    assert "–" in {text.get_text() for text in drawing.figure.axes[0].texts}

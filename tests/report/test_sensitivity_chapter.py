"""What could change the answers: short tables, gated by events, and a second opinion in sentences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from liftseries.base.remarks import WITHHELD_COUNT
from liftseries.models.sensitivity.second_opinion import COLUMNS
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.report.kit.numbers import percent
from liftseries.report.kit.tables.cells import traced
from liftseries.report.kit.writer import Writer
from liftseries.report.purposes import purpose
from liftseries.report.sensitivity.methods import of_sensitivity
from liftseries.report.sensitivity.sentences import effects_sentence, lost_sentence, opinion_sentence
from liftseries.report.sensitivity.supplement_chapter import blocks, clustering
from liftseries.report.sensitivity.tables import (
    detection_contrast_table,
    detection_table,
    evalue_table,
    icc_table,
    lost_table,
    second_opinion_table,
)

MOST_COLUMNS = 8
TABLES = (evalue_table, detection_table, detection_contrast_table, lost_table, icc_table)


@pytest.fixture(scope="module")
def material(materials):
    return materials["full"]


def with_events(material, analysis: str, n_events: int):
    """The material with that many events behind every row of an analysis."""
    rows = material.results
    n = rows["n_events"].mask(rows["analysis"].str.startswith(analysis), n_events)
    return replace(material, tables={**material.tables, "results": rows.assign(n_events=n)})


def with_opinions(material, *rows):
    table = pd.DataFrame([dict(zip(COLUMNS, row, strict=True)) for row in rows], columns=list(COLUMNS))
    return replace(material, tables={**material.tables, "second_opinion": table})


def test_tables_have_at_most_eight_columns_and_a_key_a_row(material):
    for make in TABLES:
        table = make(material, material.words)
        assert len(table.columns) <= MOST_COLUMNS, make
        assert len(table.keys) == len(table.rows), make


def test_detection_has_a_column_a_share_seen(material):
    table = detection_table(material, material.words)
    assert table.columns[1:3] == ("100% seen", "80% seen")
    rows = material.rows("sensitivity.detection", "all").set_index("term")
    assert table.rows[0][2].startswith(percent(rows.loc["0.8", "estimate"]))
    assert "sensitivity.detection · all · 0.8" in traced(table)


def test_the_contrast_is_a_square_of_shares_seen(material):
    table = detection_contrast_table(material, material.words)
    assert table.columns[:2] == ("", "Guided: 100% seen")
    assert [row[0] for row in table.rows][:2] == ["Freehand: 100% seen", "Freehand: 80% seen"]
    assert len(traced(table)) == material.rows("sensitivity.detection_contrast")["estimate"].notna().sum()


@pytest.mark.parametrize(("n_events", "told"), [(0, False), (4, False), (5, True), (WITHHELD_COUNT, True)])
def test_nothing_is_said_of_losses_or_overlooked_perforations_below_five_events(material, n_events, told):
    few = with_events(material, "sensitivity.", n_events)
    assert (lost_table(few, few.words) is not None) is told
    assert (lost_sentence(few) is not None) is told
    assert (detection_table(few, few.words) is not None) is told


def test_the_lost_are_set_beside_the_survival_that_is_quoted(material):
    table = lost_table(material, material.words)
    quoted = material.quoted("survival.km")
    quoted = quoted[quoted["subset"].eq("all")]
    assert [row[0] for row in table.rows] == quoted["term"].tolist()
    assert all(row[1].startswith(percent(value)) for row, value in zip(table.rows, quoted["estimate"], strict=True))
    assert table.keys[0].startswith("survival.km · all · 12 · corrected")
    last = material.rows("sensitivity.lost_implants")
    last = last[last["term"].eq(table.rows[-1][0]) & last["method"].eq("worst_case")].iloc[0]
    text = lost_sentence(material).text
    assert f"{percent(last['estimate'])}. An implant not yet due" in text
    assert f"all {table.rows[-1][4]} implant" in text


def test_a_month_that_is_not_quoted_is_not_told(material):
    rows = material.results
    at = rows["analysis"].eq("survival.km") & rows["term"].eq("60")
    gated = replace(
        material, tables={**material.tables, "results": rows.assign(headline=rows["headline"].mask(at, False))}
    )
    assert "60" not in [row[0] for row in lost_table(gated, gated.words).rows]
    assert "60 months" not in lost_sentence(gated).text


def test_one_correlation_of_each_pair(material):
    rows = icc_table(material, material.words).rows
    pairs = [row[:2] for row in rows]
    assert len(pairs) == len(set(pairs))
    assert {("Bone gain", "two sites of a patient"), ("Bone gain", "two visits of a site")} <= set(pairs)
    keys = traced(icc_table(material, material.words))
    assert "measurement.icc · all · gain_mm · reml_patient" in keys
    assert "measurement.icc · all · gain_mm · one_way" not in keys


def effects_of(material, low: float, term: str, analysis: str):
    """Two quoted rows, one of them with that design effect."""
    quoted = material.results[material.results["headline"].eq(True) & material.results["subset"].eq("all")]
    rows = quoted[quoted["analysis"].eq(analysis) & quoted["term"].eq(term)].iloc[:1]
    other = quoted[quoted["analysis"].eq("perforation.rate")].iloc[:1]
    both = pd.concat([rows, other])
    effects = both.assign(
        analysis=DESIGN_EFFECT, term=both["analysis"] + " " + both["term"], estimate=[low, 1.5], headline=False
    )
    return replace(material, tables={**material.tables, "results": pd.concat([both, effects])})


def test_a_design_effect_below_a_half_is_an_alarm(material):
    alarm = effects_sentence(effects_of(material, 0.4, "change per year", "gain.mixed"))
    assert "range from 0.40 to 1.50" in alarm.text
    assert "alarm, not a discovery" in alarm.text
    assert "bone gain, change per year (0.40)" in alarm.text
    assert "compared with itself" in alarm.text
    few = effects_sentence(effects_of(material, 0.07, "12", "survival.km"))
    assert "interval may be too narrow" in few.text
    assert "compared with itself" not in few.text
    none = effects_sentence(effects_of(material, 0.6, "change per year", "gain.mixed"))
    assert "alarm" not in none.text
    assert none.source == ""


def test_a_second_opinion_is_told_in_sentences_and_as_a_file(material):
    why = "it takes implants as independent, ours gathers them by patient"
    told = with_opinions(
        material,
        ("survival.km", "infinitesimal_jackknife", "lifelines", 3, 1e-15, np.nan, "", ""),
        ("survival.km", "infinitesimal_jackknife", "statsmodels", 3, 1e-15, 0.098, why, ""),
    )
    text = opinion_sentence(told, "second_opinion").text
    assert "lifelines and statsmodels" in text
    assert "refit 1 question of" in text
    assert "agree with the report's to six digits" in text
    assert f"differ by up to 9.8%; known reasons: {why}" in text
    assert len(second_opinion_table(told, told.words).rows) == 2
    apart = with_opinions(material, ("gain.mixed", "reml", "statsmodels", 7, 0.0034, 0.01, "", ""))
    text = opinion_sentence(apart, "second_opinion").text
    assert "of an estimate is 0.34%" in text
    assert "reasons" not in text
    assert opinion_sentence(material, "second_opinion") is None


def test_nothing_stands_over_nothing(materials):
    for kind in ("empty", "tiny"):
        writer = Writer(purpose("publication"), materials[kind])
        assert list(blocks(writer)) == []
        assert not [paragraph for paragraph in of_sensitivity(writer) if "E-value" in paragraph.text]
    assert list(clustering(Writer(purpose("publication"), materials["empty"]))) == []
    without = list(blocks(Writer(purpose("publication"), materials["no_visits_no_log"])))
    assert not [block for block in without if block.kind == "paragraph" and "lost to follow-up" in block.text]


def test_an_e_value_is_called_no_proof(material):
    first, table, *_ = blocks(Writer(purpose("publication"), material))
    assert "no proof of robustness" in first.text
    assert table.display.name == "evalues"


def test_a_table_of_nothing_but_withheld_numbers_is_left_out(material):
    rows = material.results
    withheld = rows.assign(estimate=np.nan, problem="withheld")
    none = replace(material, tables={**material.tables, "results": withheld})
    assert [make(none, none.words) for make in TABLES] == [None] * len(TABLES)

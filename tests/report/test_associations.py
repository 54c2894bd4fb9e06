"""What goes with the outcomes: the quoted rows alone in one table, nothing of an outcome with too few events."""

import numpy as np
import pandas as pd
import pytest
from made_series import PLAN

from liftseries.base.remarks import remark
from liftseries.report.associations.declarations import REPORT_CHAPTER
from liftseries.report.associations.report_chapter import blocks, entanglement
from liftseries.report.associations.tables import associations_table
from liftseries.report.kit.declarations import Document, Purpose
from liftseries.report.kit.material import Material, read_material
from liftseries.report.kit.writer import Writer

ROW = {
    "analysis": "perforation.firth", "subset": "all", "term": "rbh_mid_mm", "method": "profile_or_jackknife",
    "headline": True, "estimate": -0.15, "std_error": 0.1, "conf_low": -0.4, "conf_high": 0.1, "conf_level": 0.95,
    "p_value": 0.2, "df": np.nan, "scale": "log_odds", "n_sites": 620, "n_patients": 410, "n_events": 44, "note": "",
    "problem": "",
}  # fmt: skip
APPROACH = {"term": "approach[guided]", "estimate": -0.75, "conf_low": -1.4, "conf_high": -0.1}
GEE = {"analysis": "perforation.gee", "method": "corrected", "headline": False, "estimate": -9.0}
FAILURE = {"analysis": "survival.firth_cox", "term": "smoking[current]", "scale": "log_hazard", "estimate": 1.3,
           "conf_low": 0.3, "conf_high": 2.3, "n_events": 28}  # fmt: skip
GAIN = {"analysis": "gain.mixed", "method": "corrected", "scale": "mm", "estimate": 0.5, "conf_low": 0.4,
        "conf_high": 0.6, "n_events": np.nan}  # fmt: skip
DIFFERENCE = {"analysis": "perforation.risk_difference", "method": "firth", "scale": "per 100 sites"}
GUIDED = DIFFERENCE | {
    "term": "approach: freehand to guided", "estimate": -4.64, "conf_low": -8.67, "conf_high": -0.62
}  # fmt: skip
HEIGHT = DIFFERENCE | {"term": "rbh_mid_mm: 7 to 4", "estimate": 2.71, "conf_low": -1.51, "conf_high": 6.94}
ALONE = Purpose("alone", (), (Document("report", "", "", (REPORT_CHAPTER,)),), (), True)
INTERCEPT = {"term": "(intercept)", "estimate": -3.0}
WHOLE = [INTERCEPT, {}, APPROACH, GEE, FAILURE, GAIN | INTERCEPT, GAIN | {"term": "graft[xenograft]"},
         GAIN | {"term": "months", "estimate": -0.006}, GAIN | {"term": "change per year", "estimate": -0.07},
         GAIN | {"term": "mean at 12", "method": "patients", "estimate": 3.2}]  # fmt: skip


@pytest.fixture
def material(tmp_path):
    def of(*changes, guided=None) -> Material:
        tables = dict(read_material(tmp_path, PLAN).tables)
        tables["results"] = pd.DataFrame([ROW | change for change in changes], columns=list(ROW))
        rows = [("site", "approach", "guided", f"protocol={name}", share, 10) for name, share in (guided or {}).items()]
        tables["characteristics"] = pd.DataFrame(
            rows, columns=["unit", "column", "level", "subset", "share", "n_known"]
        )
        return Material(PLAN, {}, {}, tables)

    return of


def chapter(material) -> tuple[str, list]:
    found = list(blocks(Writer(ALONE, material)))
    text = " ".join(block.text for block in found if block.kind == "paragraph")
    return text, [block.display for block in found if block.kind == "table"]


def test_the_quoted_rows_stand_under_their_outcomes(material):
    told = material(*WHOLE)
    table = associations_table(told, told.words)
    assert table.columns == ("Term", "Estimate (95% interval)", "p", "Events", "Sites", "Patients")
    assert [row[0].strip() for row in table.rows] == [
        "Perforation: odds ratio",
        "Residual bone height, per mm",
        "Approach: guided against freehand",
        "Failure: hazard ratio",
        "Smoking: current against never",
        "Bone gain: difference, mm",
        "Graft: xenograft against none",
        "Time, per year",
    ]
    assert table.rows[2][1:4] == ("0.47 (0.25 to 0.90)", "0.20", "44")
    assert not [key for key in table.keys if "gee" in key or "mean at" in key]
    assert "penalised likelihood, the wider of profile and patient-jackknife" in table.note


def test_an_outcome_with_too_few_events_has_no_row_and_no_word(material):
    told = material({"headline": False}, FAILURE | {"headline": False}, GAIN | {"term": "graft[xenograft]"})
    text, (table,) = chapter(told)
    assert table.columns == ("Term", "Estimate (95% interval)", "p", "Sites", "Patients")
    assert [row[0].strip() for row in table.rows] == ["Bone gain: difference, mm", "Graft: xenograft against none"]
    words = f"{text} {table.note} {table.caption}".lower()
    for absent in ("perforation", "failure", "odds", "hazard", "penalised", "includes 1"):
        assert absent not in words


def test_without_a_quoted_row_there_is_no_chapter(material):
    assert chapter(material({"headline": False})) == ("", [])


def test_what_a_contrast_is_associated_with_is_told_both_ways(material):
    text, _ = chapter(material(*WHOLE, GUIDED, HEIGHT))
    assert "lower by 4.64 (0.62 to 8.67) where approach is guided rather than freehand" in text
    assert "higher by 2.71 (−1.51 to 6.94) where residual bone height is 4 mm rather than 7 mm" in text
    assert text.startswith("Nothing was randomised")
    assert "graft may pass for bone" in text
    assert "fewer" not in text
    assert "would" not in text


def test_the_paragraph_has_four_sentences_at_most(material):
    text, _ = chapter(material(*WHOLE, GUIDED, HEIGHT, guided={"A": 0.785, "C": 0.144}))
    assert text.count(". ") + 1 == 4


@pytest.mark.parametrize(
    ("guided", "told"),
    [
        ({"A": 0.785, "B": 0.416, "C": 0.144}, True),
        ({"A": 0.5, "B": 0.45}, False),
        ({"A": 0.785, "C": np.nan}, False),  # withheld
        ({}, False),
    ],
)
def test_approach_and_protocol_are_said_to_be_entangled_where_they_are(material, guided, told):
    found = entanglement(material(*WHOLE, guided=guided))
    assert bool(found) is told
    if told:
        assert "guided at 78.5% of the sites of protocol A and 14.4% of protocol C" in found[0]
    assert ("Approach goes with protocol" in chapter(material(*WHOLE, guided=guided))[0]) is told
    without = chapter(material({}, FAILURE, guided=guided))[0]
    assert "Approach goes with protocol" not in without


def test_terms_that_the_events_do_not_allow_are_named(material):
    gate = remark("below_gate_terms", n_events=7, n_allowed=1, n_terms=2)
    first = {"method": "first_terms", "n_events": 7}
    table = chapter(material({"headline": False, "note": gate}, first))[1][0]
    assert "Too few events for all terms of the plan: without approach (perforation)." in table.note
    assert "without" not in chapter(material(*WHOLE))[1][0].note

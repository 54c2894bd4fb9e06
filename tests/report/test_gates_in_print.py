"""What stands below its gate is printed nowhere; a bound is told as a bound; problems have no codes."""

import numpy as np
import pandas as pd
import pytest
from made_series import PLAN

from liftseries.base.remarks import joined, remark
from liftseries.report.closing.not_possible import without_answer
from liftseries.report.kit.material import Material
from liftseries.report.kit.quoted import below_gate, beside
from liftseries.report.kit.sentences import adjusted
from liftseries.report.kit.tables.cells import estimate
from liftseries.report.kit.words import Words
from liftseries.report.sensitivity.tables import detection_contrast_table, evalue_table
from liftseries.report.survival.sentences import may_be_set_side_by_side

ROW = {
    "analysis": "survival.cox",
    "subset": "all",
    "term": "rbh_mid_mm",
    "method": "sandwich",
    "headline": False,
    "estimate": 0.2,
    "std_error": 0.1,
    "conf_low": 0.0,
    "conf_high": 0.4,
    "conf_level": 0.95,
    "p_value": 0.05,
    "df": np.nan,
    "scale": "log_hazard",
    "n_sites": 600,
    "n_patients": 400,
    "n_events": 7,
    "note": "",
    "problem": "",
}
FEW = remark("few_events", n_events=7, n_terms=3)
GATED = remark("below_gate_terms", n_events=7, n_allowed=1, n_terms=3)


def rows_of(*changes):
    return pd.DataFrame([ROW | change for change in changes])


def material_of(*changes):
    return Material(PLAN, {}, {}, {"results": rows_of(*changes)})


@pytest.mark.parametrize(
    ("note", "below"),
    [
        ("", False),
        (FEW, True),
        (remark("few_events", n_events=28, n_terms=3), False),
        (joined("t(K - 1)", GATED), True),
        (remark("few_events", n_events=-1, n_terms=3), False),  # withheld
    ],
)
def test_rows_of_more_terms_than_their_events_carry_are_below_the_gate(note, below):
    assert below_gate(rows_of({"note": note})).tolist() == [below]


def test_beside_the_first_terms_stands_no_whole_model():
    quoted = {"analysis": "survival.firth_cox", "method": "first_terms", "headline": True}
    rows = rows_of(quoted, {"method": "profile"}, {"note": FEW})
    assert beside(rows, rows.iloc[0])["method"].tolist() == ["first_terms"]
    whole = rows_of(quoted | {"method": "profile_or_jackknife"}, {"method": "profile"}, {"note": FEW})
    assert beside(whole, whole.iloc[0])["method"].tolist() == ["profile_or_jackknife", "profile"]


def test_e_values_and_contrasts_below_their_gate_stand_in_no_table():
    evalue = {
        "analysis": "sensitivity.evalue",
        "term": "perforation.firth rbh_mid_mm",
        "method": "odds_ratio",
        "scale": "E-value",
        "note": remark("below_gate_evalue", n_events=7),
    }
    contrast = {
        "analysis": "sensitivity.detection_contrast",
        "term": "approach[guided] 1/1",
        "method": "cluster",
        "scale": "log_odds",
        "note": remark("below_gate_no_ratio", n_events=3),
    }
    told = material_of(evalue, contrast)
    assert evalue_table(told, told.words) is None
    assert detection_contrast_table(told, told.words) is None
    above = material_of(evalue | {"note": "", "headline": True}, contrast | {"note": "", "n_events": 12})
    assert evalue_table(above, above.words).rows
    assert detection_contrast_table(above, above.words).rows
    nine = material_of(contrast | {"note": "", "n_events": 9})
    assert detection_contrast_table(nine, nine.words) is None


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"estimate": 0.0, "conf_low": 0.0, "conf_high": 0.007, "scale": "risk"}, "at most 0.7%"),
        ({"estimate": 1.0, "conf_low": 0.993, "conf_high": 1.0, "scale": "risk"}, "at least 99.3%"),
        ({"estimate": 60.0, "conf_low": 57.0, "conf_high": 60.0, "scale": "months"}, "at least 57.00"),
    ],
)
def test_a_bound_of_one_side_is_told_as_one_in_every_table(change, told):
    note = remark("bound_without_failure" if change["scale"] == "months" else "one_sided_bound")
    assert estimate(ROW | change | {"note": note}) == told


def test_problems_are_told_without_codes():
    level = remark("no_perforation_at_level", column="approach", level="guided")
    told = Words().problem(joined(level, remark("see", analysis="perforation.firth")))
    assert told == "no site with approach guided was perforated, so approach has no finite odds ratio"
    nested = remark("imputed_sets_not_fitted", n_sets=4, of=4, why=remark("term_does_not_vary", term="rbh_mid_mm"))
    assert "residual bone height does not vary" in Words().problem(nested)


def test_what_another_method_answers_is_no_gap():
    no_failure = {"estimate": np.nan, "conf_low": np.nan, "problem": remark("no_failure_by_then")}
    km = {"analysis": "survival.km", "term": "12", "scale": "probability"}
    bound = km | {"method": "corrected", "estimate": 1.0, "headline": True}
    jackknife = km | no_failure | {"method": "infinitesimal_jackknife"}
    of_a_part = jackknife | {"subset": "approach=guided", "term": "36"}
    for rows in ((bound,), (bound, jackknife), (bound, of_a_part)):
        assert not list(without_answer(material_of(*rows)))
    (gap,) = without_answer(material_of(jackknife, bound | no_failure | {"headline": False}))
    assert gap.problems == ("no implant has failed by then, and an interval cannot be drawn without a failure",)


@pytest.mark.parametrize(("n_events", "may"), [(0, False), (4, False), (5, True)])
def test_parts_of_the_series_stand_side_by_side_from_five_failures_on(n_events, may):
    assert may_be_set_side_by_side(material_of({"analysis": "survival.km", "n_events": n_events})) is may


def test_a_term_alone_is_adjusted_for_nothing():
    assert adjusted(rows_of({}, {"term": "smoking[former]"})).startswith("each term is adjusted")
    alone = rows_of({"term": "smoking[current]"}, {"term": "smoking[former]"})
    assert adjusted(alone) == "no other term is in the model"

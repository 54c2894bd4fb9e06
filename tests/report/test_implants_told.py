"""Implant survival from rows written by hand: page one, follow-up, complications, a withheld number, no visit."""

import numpy as np
import pandas as pd
import pytest
from made_series import PLAN

from liftseries.base.remarks import remark
from liftseries.report.kit.material import Material
from liftseries.report.languages.say import words_that_leave
from liftseries.report.survival import answers, methods, report_chapter, supplement_chapter
from liftseries.report.survival.figures import draw_survival, draw_survival_methods
from liftseries.report.survival.follow_up import follow_up_sentences
from liftseries.report.survival.follow_up_tables import complications_table

ROW = {
    "analysis": "survival.km", "subset": "all", "term": "60", "method": "corrected", "headline": True,
    "estimate": 0.9, "std_error": 0.1, "conf_low": 0.8, "conf_high": 0.95, "conf_level": 0.95, "p_value": np.nan,
    "df": np.nan, "scale": "probability", "n_sites": 600, "n_patients": 400, "n_events": 12, "note": "", "problem": "",
}  # fmt: skip
DUE = ["months", "n_placed", "n_not_yet_due", "n_due", "n_seen", "n_ended", "n_lost", "n_never_seen"]


def made(*rows, **tables):
    tables = {"survival_at_risk": pd.DataFrame(columns=["subset", "months", "n_at_risk"])} | tables
    return Material(PLAN, {}, {}, {"results": pd.DataFrame(rows), **tables})


class Bare:
    """A writer that has no figure and no table."""

    def __init__(self, material):
        self.material, self.tables = material, {}

    def figure(self, name):
        """Not drawn."""
        return []

    table = figure


def complications_text(material):
    """What the report says of them."""
    (paragraph,) = report_chapter.complications(Bare(material))
    return paragraph.text


@pytest.mark.parametrize(("problem", "seen"), [(remark("none_followed"), False), ("another one", True)])
def test_a_release_whose_counts_are_withheld_knows_whether_anybody_was_seen(problem, seen):
    row = ROW | {"estimate": np.nan, "n_sites": -1, "n_patients": -1, "n_events": -1, "problem": problem}
    assert made(row).has_visits == seen
    assert made(row, ROW | {"n_sites": 0}).has_visits == seen


def test_page_one_says_associated_only_where_the_interval_leaves_out_1():
    def answer(low, high):
        row = ROW | {"analysis": "survival.firth_cox", "term": "rbh_mid_mm", "method": "profile_or_jackknife"}
        row |= {"estimate": -0.4, "conf_low": low, "conf_high": high, "scale": "log_hazard", "n_events": 12}
        return answers.failure(made(ROW, row))

    assert answer(-0.7, -0.1).text == (
        "Failure was associated with residual bone height: hazard ratio per mm 0.67 (0.50 to 0.90)."
    )
    assert answer(-0.7, 0.1).text.startswith(
        "No association with residual bone height could be shown: hazard ratio per mm"
    )
    assert answer(-0.7, -0.1).sure == "penalised Cox model, 12 failures in 600 implants; associations, not effects"


@pytest.mark.parametrize(
    ("n_lost", "n_not_yet_due", "said"),
    [
        (
            37,
            470,
            "37 implants were lost to follow-up. Not yet due were 470 implants of all that were placed: only",
        ),
        (1, 1, "1 implant was lost to follow-up. Not yet due was 1 implant of all that were placed: only"),
        (0, 0, "0 implants were lost to follow-up."),
        (-5, 470, "fewer than 5 implants were lost to follow-up. Not yet due were 470 implants"),
    ],
)
def test_lost_and_not_yet_due_are_told_apart(n_lost, n_not_yet_due, said):
    row = ROW | {"analysis": "followup.completeness", "method": "patients", "n_sites": 171, "n_events": 120}
    by_month = pd.DataFrame([[60.0, 641, n_not_yet_due, 171, 120, 21, n_lost, 2]], columns=DUE)
    (paragraph,) = follow_up_sentences(made(ROW, row, followup_by_month=by_month))
    assert said in paragraph.text
    assert ("Not yet due" in paragraph.text) == bool(n_not_yet_due)
    assert "At month 60, 171 implants were due, and of 120 of them" in paragraph.text


def test_follow_up_is_told_at_the_last_month_at_which_survival_is_quoted():
    known = ROW | {"analysis": "followup.completeness", "method": "patients"}
    by_month = pd.DataFrame([[12.0, 34, 5, 29, 28, 0, 1, 0], [60.0, 34, 28, 6, 6, 0, 0, 0]], columns=DUE)
    rows = (ROW | {"term": "12"}, known | {"term": "12"}, known)
    (paragraph,) = follow_up_sentences(made(*rows, followup_by_month=by_month))
    assert "At month 12, 29 implants were due" in paragraph.text
    assert "60" not in paragraph.text


def complication(kind, n, subset="all", analysis="complications.rate"):
    limits = {"estimate": n / 400, "conf_low": max(n - 9, 0) / 400, "conf_high": (n + 9) / 400, "scale": "risk"}
    return ROW | {"analysis": analysis, "subset": subset, "term": kind, "method": "patients", "n_events": n} | limits


def test_kinds_that_never_occurred_are_named_below_the_table():
    kinds = {"any": 30, "infection": 20, "bleeding": 0, "vertigo": 0, "other": 25}
    rows = [complication(kind, n, subset) for subset in ("all", "protocol=A") for kind, n in kinds.items()]
    material = made(*rows, complication("any", 12, analysis="complications.first_year"))
    table = complications_table(material, material.words)
    assert [line[0] for line in table.rows] == ["Any", "Infection", "Other"]
    assert "Not recorded in any patient: bleeding and vertigo (95% interval 0% to 2.2%)." in table.note
    assert len(table.columns) <= 8
    text = complications_text(material)
    assert text.startswith(
        "A complication was recorded in 30 of 400 patients at any visit, 7.5% (5.2% to 9.8%), and in 12"
    )
    assert "The most frequent named kind was infection: 20 of 400 patients, 5.0%" in text


def test_complications_are_told_by_their_patients_where_the_number_of_sites_is_withheld():
    told, withheld = {"n_sites": -1}, {"n_sites": -1, "n_patients": -1, "n_events": -1, "estimate": np.nan}
    rows = [complication("any", 30) | told, complication("any", 12, "protocol=A") | withheld]
    material = made(*rows)
    table = complications_table(material, material.words)
    assert [column for column in table.columns if column in ("All patients", "Protocol: A")] == ["All patients"]
    assert table.rows[0][1].startswith("30 of 400")
    nothing = made(complication("any", 30) | withheld, complication("any", 30, "protocol=A") | told)
    assert complications_table(nothing, nothing.words).columns[1] == "All patients"


def test_a_share_told_roundly_stands_alone_where_neither_of_its_counts_is_told():
    counts = {"n_sites": -1, "n_patients": -1, "n_events": -1, "conf_low": np.nan, "conf_high": np.nan}
    roundly = counts | {"estimate": 0.21, "note": remark("rounded_share", points=3)}
    neither = counts | {"estimate": np.nan, "note": "", "problem": "withheld"}
    parts = [complication(kind, 5, "protocol=A") | {"n_events": -1} for kind in ("any", "infection")]
    material = made(complication("any", 30) | roundly, complication("infection", 20) | neither, *parts)
    rows = complications_table(material, material.words).rows
    assert [line[1] for line in rows] == ["21.0% (rounded, ± 3 points)", "withheld"]
    assert rows[0][2] == "withheld of 400"


def test_no_complication_at_all_is_a_bound_and_every_kind_a_row():
    rows = [complication(kind, 0) for kind in ("any", "infection", "other")]
    material = made(*rows)
    assert [line[0] for line in complications_table(material, material.words).rows] == ["Any", "Infection", "Other"]
    text = complications_text(material)
    assert text == "No complication was recorded in 400 patients (95% interval 0% to 2.2%)."


def test_the_commonest_kind_is_not_named_where_one_is_withheld():
    withheld = {"n_events": -1, "estimate": np.nan, "conf_low": np.nan, "conf_high": np.nan, "problem": "withheld"}
    rows = [complication("any", 30), complication("infection", 20), complication("bleeding", 3) | withheld]
    text = complications_text(made(*rows))
    assert text.startswith("A complication was recorded in 30 of 400 patients")
    assert "most frequent" not in text


def test_a_share_told_roundly_whose_number_is_not_told_is_of_all_patients_and_names_no_commonest_kind():
    rounded = {"n_events": -1, "estimate": 0.08, "conf_low": np.nan, "conf_high": np.nan}
    roundly = rounded | {"note": remark("rounded_share", points=1)}
    early = complication("any", 12, analysis="complications.first_year")
    rows = [complication("any", 30) | roundly, complication("infection", 20), complication("bleeding", 22) | roundly]
    with words_that_leave():
        text = complications_text(made(*rows, early))
    assert text == (
        "A complication was recorded in 8% (rounded, ± 1 point) of 400 patients at any visit, and in 12 of 400 by "
        "month 12, 3% (0.8% to 5.2%)."  # of infection nothing: bleeding may be as frequent
    )


def test_other_methods_are_drawn_in_one_column_with_the_numbers_below_their_names():
    note = remark("bound_without_failure")
    rows = pd.DataFrame([ROW, ROW | {"method": "infinitesimal_jackknife", "headline": False}])
    empty = rows.iloc[:0]
    drawing = draw_survival_methods(rows, empty, empty, empty, empty, narrow=True)
    assert drawing.figure.get_figwidth() * 25.4 == pytest.approx(84)
    texts = [text.get_text() for text in drawing.figure.texts]
    assert any("Kaplan-Meier, corrected\n" in text and "90.0% (80.0% to 95.0%)" in text for text in texts)
    few = rows.assign(n_events=4, note=note)
    assert draw_survival_methods(few, empty, empty, empty, empty) is None


def test_bands_of_which_every_number_is_withheld_are_drawn_without_intervals():
    curves = pd.DataFrame(
        [
            (subset, month, 1 - month / 1000, 0.8, 1.0)
            for subset in ("all", "rbh_band=<4", "rbh_band=≥6")
            for month in (0, 60)
        ],
        columns=["subset", "months", "survival", "conf_low", "conf_high"],
    )
    at_risk = pd.DataFrame([("all", 0.0, 600), ("all", 60.0, -1)], columns=["subset", "months", "n_at_risk"])
    drawing = draw_survival(curves, at_risk, pd.DataFrame([ROW]))
    assert len(drawing.figure.axes) == 2
    assert "<4 mm: 94.0% at 60 months." in drawing.alt
    assert "–" in [text.get_text() for text in drawing.figure.texts]


def test_survival_that_is_withheld_is_said_to_be_and_no_empty_curve_is_drawn():
    withheld = ROW | {"estimate": np.nan, "conf_low": np.nan, "n_events": -1, "problem": "withheld"}
    assert answers.survival(made(withheld)).text == "Survival at the months of the plan is withheld."
    assert answers.failure(made(withheld)) is None
    curves = pd.DataFrame([("all", 0.0, 1.0, np.nan, np.nan), ("all", 60.0, np.nan, np.nan, np.nan)])
    curves.columns = ["subset", "months", "survival", "conf_low", "conf_high"]
    at_risk = pd.DataFrame([("all", 0.0, 600)], columns=["subset", "months", "n_at_risk"])
    assert draw_survival(curves, at_risk, pd.DataFrame([withheld])) is None


def test_without_a_visit_nothing_is_said():
    row = ROW | {"n_sites": 0, "n_patients": 0, "n_events": 0, "estimate": np.nan, "headline": False}
    material = made(row)
    writer = Bare(material)
    assert not material.has_visits
    assert answers.survival(material) is answers.failure(material) is None
    assert [*report_chapter.blocks(writer), *supplement_chapter.blocks(writer)] == []
    assert [*supplement_chapter.hazards(writer), *methods.of_survival(writer)] == []

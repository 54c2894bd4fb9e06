"""What single figures show: counts, marks, ends of curves, what is withheld."""

import numpy as np
import pandas as pd
import pytest

from liftseries.base.remarks import WITHHELD_COUNT
from liftseries.models.files import file_of
from liftseries.report.depth import ladder_figures
from liftseries.report.depth.adherence_figure import draw_adherence
from liftseries.report.perforation import figures as perforation
from liftseries.report.survival import hazard_figures


def test_adherence_tells_counts_and_what_cannot_occur(made, drawings):
    rows = made["full"].rows("depth.deviations").set_index(["term", "subset"])
    row = rows.loc[("stop_misread", "approach=freehand")]
    texts = {text.get_text() for text in drawings["full"]["adherence"].figure.texts}
    assert f"{int(row['n_events'])} of {int(row['n_sites'])}" in texts
    assert "cannot occur" in texts  # an unguided start, freehand


def test_ladder_names_the_depth_reached_and_the_first_open_finding(drawings):
    texts = [text.get_text() for axes in drawings["full"]["ladder_case"].figure.axes for text in axes.texts]
    assert texts.count("pilot") == 3
    assert texts.count("3") == 2  # a drill and a gauge
    assert "4\nopen" in texts
    assert "13\nopen" in texts  # without a stop
    assert not [text for text in texts if "−" in text]  # the subtraction stands in the table
    alt = drawings["full"]["ladder_case"].alt
    assert "first found open at pass 4, 4 mm" in alt
    assert "Deviations: first depth too deep; stop's marking misread; drilled far beyond the floor." in alt


def test_a_long_log_gets_the_whole_width(made):
    case = made["full"].left[file_of("ladder_cases")].query("case == 1")
    long = pd.concat([case.iloc[[0]].assign(step_no=n + 1) for n in range(24)])
    drawing = ladder_figures.draw_ladder_case(pd.concat([long, long.assign(case=2)]))
    assert drawing.figure.get_size_inches()[0] * 25.4 == pytest.approx(174)
    tops = [axes.get_position().y0 for axes in drawing.figure.axes]
    assert tops[0] > tops[1]


def test_the_quoted_method_is_filled_and_the_others_are_open(made):
    full = made["full"]
    rows = [full.rows(f"perforation.{name}").reset_index(drop=True) for name in ("firth", "gee", "imputed")]
    drawing = perforation.draw_perforation_methods(*rows)
    faces = [line.get_markerfacecolor() for line in drawing.figure.axes[0].lines if line.get_marker() == "s"]
    n_terms = 2
    assert len(faces) == n_terms * (3 + 2)  # nothing is missing, so that nothing is imputed
    assert sum(face != "white" for face in faces) == n_terms
    assert faces[0] != "white"


def test_the_quoted_hazard_ratio_is_filled_and_what_has_no_estimate_is_left_to_the_table(made):
    full = made["full"]
    names = ("firth_cox", "cox", "imputed")  # each read from a file of its own, so that labels of rows are shared
    firth, cox, imputed = (full.rows(f"survival.{name}").reset_index(drop=True) for name in names)
    cox.loc[cox["method"].eq("sandwich"), "estimate"] = np.nan
    drawing = hazard_figures.draw_hazard_methods(firth, cox, imputed)
    texts = [text.get_text().strip() for text in drawing.figure.texts]
    n_terms = int(firth["headline"].sum())
    assert n_terms == texts.count("Penalised, the wider of both") == texts.count("Cox, corrected")
    assert "Cox, sandwich" not in texts
    filled = [line for line in drawing.figure.axes[0].lines if line.get_markerfacecolor() != "white"]
    assert sum(line.get_marker() == "s" for line in filled) == n_terms


def test_an_interval_beyond_the_axis_ends_in_an_arrow_head(made):
    rows = made["full"].rows("survival.firth_cox").copy()
    rows.loc[rows["headline"], "conf_high"] = 9.0  # a hazard ratio of 8000
    (axes,) = hazard_figures.draw_hazard_methods(rows, rows.iloc[:0], rows.iloc[:0]).figure.axes
    assert axes.get_xlim()[1] <= 100
    assert ">" in {line.get_marker() for line in axes.lines}


def test_survival_by_other_methods_shows_each_quoted_month_once(made, drawings):
    quoted = made["full"].rows("survival.km").query("headline and subset == 'all'")["term"].tolist()
    assert len(quoted) > 1
    texts = [text.get_text().strip() for text in drawings["full"]["survival_methods"].figure.texts]
    assert [text for text in texts if text.startswith("Month ")] == [f"Month {term}" for term in quoted]
    for name in ("Kaplan-Meier, corrected", "Life table", "Lost implants all fail"):
        assert texts.count(name) == len(quoted)


def test_adherence_withheld_or_not_judged_keeps_its_columns(made):
    """The widest texts: nothing is squeezed, a withheld count is a dash, and what cannot be judged is told."""
    rows = made["full"].rows("depth.deviations").copy()
    numbers = ["n_sites", "n_events", "estimate", "conf_low", "conf_high"]
    withheld = rows["term"].eq("overdrilled")
    rows.loc[withheld, numbers] = [WITHHELD_COUNT, WITHHELD_COUNT, np.nan, np.nan, np.nan]
    rows.loc[rows["term"].eq("speed_high"), numbers] = [0, 0, np.nan, np.nan, np.nan]
    rows.loc[rows["term"].eq("speed_high not judged"), ["n_sites", "n_events"]] = [1234, 1234]
    for narrow in (False, True):
        drawing = draw_adherence(made["full"].rows("depth.adherence"), rows, narrow=narrow)
        texts = [text.get_text() for text in drawing.figure.texts]
        assert texts.count("– of –") == 2
        assert texts.count("none judged") == texts.count("1234") == 2
        assert all(axes.get_position().width > 0.05 for axes in drawing.figure.axes)

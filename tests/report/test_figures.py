"""Figures: print size, nothing cut off or overlapping, fonts inside, the same bytes twice, words for all."""

import itertools
import re

import numpy as np
import pandas as pd
import pytest
from made_series import KINDS
from packed import everything_in
from PIL import Image

from liftseries.base.remarks import WITHHELD_COUNT
from liftseries.models.files import file_of
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.report.depth import ladder_figures
from liftseries.report.depth.adherence_figure import draw_adherence
from liftseries.report.kit.figures.style import LOOKS, save
from liftseries.report.kit.svg import alt_text, width_mm
from liftseries.report.perforation import figures as perforation
from liftseries.report.purposes import purpose
from liftseries.report.survival import hazard_figures

NAMES = [figure.name for figure in purpose("publication").figures]
HALF_A_MM = 0.5


def boxes(figure) -> list[tuple[str, object]]:
    """Every text that is seen, and where it stands, in pixels."""
    from matplotlib.text import Text

    renderer = figure.canvas.get_renderer()
    figure.draw(renderer)
    texts = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text().strip()]
    out_of_range = hidden_ticks(figure)
    return [(text.get_text(), text.get_window_extent(renderer)) for text in texts if id(text) not in out_of_range]


def hidden_ticks(figure) -> set[int]:
    """Labels of ticks outside the axis, which exist but are not drawn."""
    hidden = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if not axes.axison or not low - 1e-9 <= tick.get_loc() <= high + 1e-9:
                    hidden |= {id(tick.label1), id(tick.label2)}
    return hidden


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", NAMES)
def test_figure_is_at_print_width_and_nothing_is_cut_off(drawings, kind, name):
    figure = drawings[kind][name].figure
    width, height = figure.get_size_inches() * 25.4
    assert width == pytest.approx(84) or width == pytest.approx(174)
    assert height < 240  # an A4 page less its margins and caption
    page = figure.bbox
    for text, box in boxes(figure):
        assert box.x0 >= -0.5, text
        assert box.y0 >= -0.5, text
        assert box.x1 <= page.x1 + 0.5, text
        assert box.y1 <= page.y1 + 0.5, text


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", NAMES)
def test_no_two_texts_stand_on_each_other(drawings, kind, name):
    figure = drawings[kind][name].figure
    touch = 1.0 * figure.dpi / 72
    for (one, a), (other, b) in itertools.combinations(boxes(figure), 2):
        wide = min(a.x1, b.x1) - max(a.x0, b.x0)
        high = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert not (wide > touch and high > touch), f"{one!r} and {other!r}"


@pytest.mark.parametrize("kind", KINDS)
def test_every_figure_is_told_in_words(drawings, kind):
    for name, drawing in drawings[kind].items():
        assert len(drawing.alt) > 30, name
        assert drawing.alt.endswith("."), name
        assert "nan" not in drawing.alt.lower().replace("finance", ""), name


@pytest.mark.parametrize("name", NAMES)
def test_without_data_a_figure_says_why_it_is_empty(drawings, name):
    drawing = drawings["empty"][name]
    if name not in ("ladder_case", "flow"):  # the ladder's cases are given; a flow of none is a flow
        assert drawing.alt.startswith("Nothing is drawn: ")
        shown = " ".join(text.get_text().replace("\n", " ") for text in drawing.figure.texts)
        assert shown == drawing.alt


def test_without_visits_and_log_the_figures_that_need_them_say_so(drawings):
    found = drawings["no_visits_no_log"]
    for name in ("planned_achieved", "adherence", "ladder_case", "survival", "survival_by_height",
                 "survival_methods", "hazard_methods", "bone_over_time", "gain_terms"):  # fmt: skip
        assert found[name].alt.startswith("Nothing is drawn: "), name
    for name in ("flow", "residual_height", "perforation_by_height", "perforation_methods"):
        assert not found[name].alt.startswith("Nothing is drawn: "), name


def test_files_are_the_same_bytes_twice(made, drawings, tmp_path):
    for run, found in (("one", drawings["full"]), ("two", made["full"].drawings())):
        for name, drawing in found.items():
            if name in ("survival", "flow", "bone_over_time"):
                save(drawing, tmp_path / run / name)
    written = sorted(path.name for path in (tmp_path / "one").iterdir())
    assert written == sorted(
        f"{n}.{form}" for n in ("survival", "flow", "bone_over_time") for form in ("svg", "pdf", "png")
    )
    for name in written:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes(), name


def test_files_hold_their_fonts_size_and_words_and_no_date(drawings, tmp_path):
    drawing = drawings["full"]["adherence"]
    save(drawing, tmp_path / "adherence")
    pdf = (tmp_path / "adherence.pdf").read_bytes()
    assert b"/FontFile2" in pdf
    assert b"/Subtype /Type3" not in pdf
    assert b"CreationDate" not in pdf
    assert b"glyf" in everything_in(tmp_path)  # a font's outlines, and not what only a writing program reads of it
    assert b"GSUB" not in everything_in(tmp_path)
    svg = (tmp_path / "adherence.svg").read_text(encoding="utf-8")
    assert "<text" not in svg
    assert "<dc:date>" not in svg
    assert alt_text(tmp_path / "adherence.svg") == drawing.alt
    assert width_mm(tmp_path / "adherence.svg") == pytest.approx(174, abs=HALF_A_MM)
    with Image.open(tmp_path / "adherence.png") as png:
        assert png.size[0] / 600 * 25.4 == pytest.approx(174, abs=HALF_A_MM)
        assert png.text["Description"] == drawing.alt


def test_pdf_subject_holds_the_words(drawings, tmp_path):
    save(drawings["full"]["flow"], tmp_path / "flow")
    assert b"/Subject (Flow diagram" in (tmp_path / "flow.pdf").read_bytes()


def test_looks_differ_in_lightness_marker_line_and_hatch():
    for one, other in itertools.combinations(LOOKS[:3], 2):
        assert abs(lightness(one.colour) - lightness(other.colour)) > 15
    for feature in ("marker", "line", "hatch"):
        assert len({str(getattr(look, feature)) for look in LOOKS}) == len(LOOKS)


def lightness(colour: str) -> float:
    """CIE L* of an sRGB colour (IEC 61966-2-1 and CIE 15, formulas from memory)."""
    values = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in values]
    y = float(np.dot(linear, [0.2126, 0.7152, 0.0722]))
    return 116 * y ** (1 / 3) - 16


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


def test_where_at_most_one_patient_has_the_outcome_the_interval_is_marked():
    cases = pd.DataFrame({"patient_id": range(30), "perforation": "no", "approach": ["guided", "freehand"] * 15})
    cases.loc[0, "perforation"] = "yes"
    drawing = perforation.draw_perforation_by_height(fit_perforation_rate(cases, ["approach"]).rows)
    texts = [text.get_text() for text in drawing.figure.texts]
    assert "3.3% (0.1% to 17.2%) *" in texts  # Clopper-Pearson of 1 in 30
    assert "at most 18.1% *" in texts  # 1 - 0.05^(1/15)
    assert any(text.startswith("* Open marker: at most one patient has the outcome") for text in texts)


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


def test_no_curve_goes_on_where_too_few_are_at_risk(made, drawings):
    at_risk = made["full"].left[file_of("survival_at_risk")].query("subset == 'all'").set_index("months")["n_at_risk"]
    (axes,) = drawings["full"]["survival"].figure.axes
    end = max(float(line.get_xdata()[-1]) for line in axes.lines)
    told = at_risk[at_risk.ge(max(20, 0.1 * at_risk.iloc[0]))]
    assert end >= told.index.max()
    later = at_risk.drop(told.index)
    assert later.empty or end < later.index.min()


def test_survival_axis_says_where_it_starts(drawings):
    (axes,) = drawings["full"]["survival"].figure.axes
    low = axes.get_ylim()[0]
    assert low > 0
    assert f"(axis starts at {100 * low:g}%)" in axes.get_ylabel()


def test_survival_prints_the_numbers_behind_it(made, drawings):
    table = made["full"].left[file_of("survival_at_risk")].query("subset == 'all'").set_index("months")
    texts = [text.get_text() for text in drawings["full"]["survival"].figure.texts]
    for name in ("At risk", "Failed so far", "Censored so far"):
        assert name in texts
    for column in ("n_at_risk", "n_failed", "n_censored"):
        assert str(table.loc[24.0, column]) in texts


def test_a_machine_set_up_otherwise_gives_the_same_figure(made, drawings, tmp_path):
    import matplotlib

    save(drawings["full"]["residual_height"], tmp_path / "one" / "residual_height")
    with matplotlib.rc_context({"font.size": 20, "axes.facecolor": "red", "svg.fonttype": "none"}):
        save(made["full"].drawings()["residual_height"], tmp_path / "two" / "residual_height")
    one, two = (tmp_path / run / "residual_height.svg" for run in ("one", "two"))
    assert one.read_bytes() == two.read_bytes()


def test_site_and_patient_ids_stay_out_of_the_figures(drawings, tmp_path):
    for name, drawing in drawings["full"].items():
        words = [drawing.alt, *(text for text, _ in boxes(drawing.figure))]
        assert not re.search(r"\b[SP]\d{3,4}\b", " ".join(words)), name


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

"""Figures: print size, nothing cut off or overlapping, legible, fonts inside, the same bytes twice, words for all."""

import itertools
import re
from functools import cache

import numpy as np
import pytest
from made_series import KINDS, PLAN
from packed import everything_in
from PIL import Image

from liftseries.report.kit.drawing import draw_figure
from liftseries.report.kit.figures.style import DOUBLE_MM, LOOKS, SINGLE_MM, SMALL_PT, Drawing, save
from liftseries.report.kit.svg import alt_text, covers, width_mm
from liftseries.report.purposes import purpose

FIGURES = {figure.name: figure for figure in purpose("publication").figures}
HALF_A_MM = 0.5
A_PAGE_MM = 240  # A4 less its margins and the caption


@pytest.fixture(params=KINDS)
def drawn(request, layouts) -> dict[str, Drawing]:
    """Every layout that is drawn of a series."""
    found = {(name, narrow): one for (kind, name, narrow), one in layouts.items() if kind == request.param and one}
    return {f"{name}, narrow" if narrow else name: drawing for (name, narrow), drawing in found.items()}


@pytest.fixture(scope="module")
def wide(drawings) -> tuple[str, Drawing]:
    """A figure of two columns, and its name."""
    found = ((name, one) for name, one in drawings["full"].items() if one and FIGURES[name].has_narrow)
    name, one = next(found, next((name, one) for name, one in drawings["full"].items() if one and is_wide(one)))
    return name, one


def is_wide(drawing: Drawing) -> bool:
    return drawing.figure.get_size_inches()[0] * 25.4 > 100


@cache
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


def test_every_figure_of_the_full_series_is_drawn(drawings):
    assert [name for name, drawing in drawings["full"].items() if drawing is None] == []


def test_a_figure_wider_than_100_mm_declares_a_layout_of_one_column(drawings):
    wide = {name for kind in KINDS for name, drawing in drawings[kind].items() if drawing and is_wide(drawing)}
    assert sorted(name for name in wide if not FIGURES[name].has_narrow) == []


def test_a_layout_for_phones_is_one_column_wide(layouts):
    for (kind, name, narrow), drawing in layouts.items():
        if narrow and drawing:
            assert drawing.figure.get_size_inches()[0] * 25.4 == pytest.approx(SINGLE_MM), (kind, name)


def test_figures_are_at_print_width_and_nothing_is_cut_off(drawn):
    for name, drawing in drawn.items():
        width, height = drawing.figure.get_size_inches() * 25.4
        assert width == pytest.approx(SINGLE_MM) or width == pytest.approx(DOUBLE_MM), name
        assert height < A_PAGE_MM, name
        page = drawing.figure.bbox
        for text, box in boxes(drawing.figure):
            within = box.x0 >= -0.5 and box.y0 >= -0.5 and box.x1 <= page.x1 + 0.5 and box.y1 <= page.y1 + 0.5
            assert within, (name, text)


def test_no_two_texts_stand_on_each_other(drawn):
    for name, drawing in drawn.items():
        touch = 1.0 * drawing.figure.dpi / 72
        for (one, a), (other, b) in itertools.combinations(boxes(drawing.figure), 2):
            wide = min(a.x1, b.x1) - max(a.x0, b.x0)
            high = min(a.y1, b.y1) - max(a.y0, b.y0)
            assert not (wide > touch and high > touch), f"{name}: {one!r} and {other!r}"


def test_no_type_is_smaller_than_seven_points(drawn):
    from matplotlib.text import Text

    for name, drawing in drawn.items():
        texts = [text for text in drawing.figure.findobj(Text) if text.get_visible() and text.get_text().strip()]
        assert {text.get_text() for text in texts if text.get_fontsize() < SMALL_PT} == set(), name


def test_figures_are_told_in_words(drawn):
    for name, drawing in drawn.items():
        assert len(drawing.alt) > 30, name
        assert drawing.alt.endswith("."), name
        assert "nan" not in drawing.alt.lower().split(), name
        assert "othing is drawn" not in drawing.alt, name
        assert not drawing.covers.endswith("."), name


def test_files_are_the_same_bytes_twice(made, drawings, wide, tmp_path):
    name, _ = wide
    for run, found in (("one", drawings["full"]), ("two", made["full"].drawings())):
        save(found[name], tmp_path / run / name)
    written = sorted(path.name for path in (tmp_path / "one").iterdir())
    assert written == sorted(f"{name}.{form}" for form in ("svg", "pdf", "png"))
    for file in written:
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes(), file


def test_files_hold_their_fonts_size_and_words_and_no_date(wide, tmp_path):
    _, drawing = wide
    save(Drawing(drawing.figure, drawing.alt, "634 sites & 46 <events>"), tmp_path / "wide")
    pdf = (tmp_path / "wide.pdf").read_bytes()
    assert b"/FontFile2" in pdf
    assert b"/Subtype /Type3" not in pdf
    assert b"CreationDate" not in pdf
    assert b"/Subject (" in pdf
    assert b"glyf" in everything_in(tmp_path)  # a font's outlines, and not what only a writing program reads of it
    assert b"GSUB" not in everything_in(tmp_path)
    svg = (tmp_path / "wide.svg").read_text(encoding="utf-8")
    assert "<text" not in svg
    assert "<dc:date>" not in svg
    assert alt_text(tmp_path / "wide.svg") == drawing.alt
    assert covers(tmp_path / "wide.svg") == "634 sites & 46 <events>"
    assert width_mm(tmp_path / "wide.svg") == pytest.approx(DOUBLE_MM, abs=HALF_A_MM)
    with Image.open(tmp_path / "wide.png") as png:
        assert png.size[0] / 600 * 25.4 == pytest.approx(DOUBLE_MM, abs=HALF_A_MM)
        assert png.text["Description"] == drawing.alt


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


def test_a_machine_set_up_otherwise_gives_the_same_figure(made, wide, tmp_path):
    import matplotlib

    name, drawing = wide
    save(drawing, tmp_path / "one" / name, ["svg"])
    with matplotlib.rc_context({"font.size": 20, "axes.facecolor": "red", "svg.fonttype": "none"}):
        save(draw_figure(FIGURES[name], made["full"].read, PLAN), tmp_path / "two" / name, ["svg"])
    one, two = (tmp_path / run / f"{name}.svg" for run in ("one", "two"))
    assert one.read_bytes() == two.read_bytes()


def test_site_and_patient_ids_stay_out_of_the_figures(drawings):
    for name, drawing in drawings["full"].items():
        if drawing is not None:
            words = [drawing.alt, *(text for text, _ in boxes(drawing.figure))]
            assert not re.search(r"\b[SP]\d{3,4}\b", " ".join(words)), name

"""The comparison's figures: within their page at both widths, nothing cut off, overlapping or too small."""

import itertools

import pytest
from made_comparison import COMPARISON, KINDS
from matplotlib.text import Text
from test_figures import A_PAGE_MM, boxes, hidden_ticks

from liftseries.report.kit.figures.style import DOUBLE_MM, SINGLE_MM, SMALL_PT


def words_drawn(figure) -> list[tuple[str, object]]:
    """Every text that is seen and where it stands, without the line that leads to it."""
    renderer = figure.canvas.get_renderer()
    figure.draw(renderer)
    hidden = hidden_ticks(figure)
    texts = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text().strip()]
    return [(text.get_text(), Text.get_window_extent(text, renderer)) for text in texts if id(text) not in hidden]


def test_every_figure_is_drawn_of_two_groups_and_of_three(compared):
    for kind, figure in itertools.product(("two", "three"), COMPARISON.figures):
        assert compared[kind].drawings[figure.name, False], (kind, figure.name)


@pytest.mark.parametrize(("kind", "narrow"), list(itertools.product(KINDS, (False, True))))
def test_figures_fit_their_page_and_no_text_is_cut_overlaps_or_is_too_small(compared, kind, narrow):
    for figure in COMPARISON.figures:
        drawing = compared[kind].drawings[figure.name, narrow]
        if drawing is None:
            continue
        width, height = drawing.figure.get_size_inches() * 25.4
        assert width == pytest.approx(SINGLE_MM if narrow else DOUBLE_MM)
        assert height < A_PAGE_MM
        page, touch = drawing.figure.bbox, drawing.figure.dpi / 72
        texts = words_drawn(drawing.figure)
        for text, box in texts:
            assert box.x0 >= -0.5, text
            assert box.y0 >= -0.5, text
            assert box.x1 <= page.x1 + 0.5, text
            assert box.y1 <= page.y1 + 0.5, text
        for (one, a), (other, b) in itertools.combinations(texts, 2):
            wide, high = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
            assert not (wide > touch and high > touch), (figure.name, one, other)
        small = [text for text in drawing.figure.findobj(Text) if text.get_text() and text.get_fontsize() < SMALL_PT]
        assert not [text.get_text() for text in small if text.get_visible()]
        assert drawing.alt.endswith(".")


def test_numbers_at_risk_are_counted_and_not_weighted(compared):
    drawing = compared["two"].drawings["comparison_survival", False]
    counted = compared["two"].read("comparison_at_risk")
    first = counted[counted["subset"].eq("all") & counted["months"].eq(12)]["n_at_risk"]
    shown = {text for text, _ in boxes(drawing.figure)}
    assert {str(int(n)) for n in first} <= shown

"""The audit's figures: print size, legible, nothing over anything, none of nothing."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from audit_material import STRIPS, UNITS, result, unit_rows
from matplotlib.text import Text
from test_figures import boxes

from liftseries.base.remarks import remark
from liftseries.models.shared.results import RESULT_COLUMNS
from liftseries.report.audit.benchmark import draw_audit_benchmark
from liftseries.report.audit.course_figure import cases_of_changes, draw_audit_course
from liftseries.report.audit.funnel_figure import draw_audit_funnel
from liftseries.report.audit.matrix_figure import draw_audit_matrix
from liftseries.report.audit.strips_figure import draw_audit_strips
from liftseries.report.audit.year_figures import draw_audit_learning, draw_audit_years
from liftseries.report.kit.figures.style import DOUBLE_MM, SINGLE_MM, SMALL_PT
from liftseries.report.kit.words import Words


def charted(n_units: int = 6, n: int = 30) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    rng, charts, bands = np.random.default_rng(1), [], []
    for k in range(n_units):
        case = np.arange(1, n + 1)
        signal = ["up" if k == 4 and one == n else "" for one in case]
        course = np.cumsum(rng.random(n) < 0.1) - 0.1 * case
        sites = [f"S{k}{one:03d}" for one in case]
        charts.append(
            pd.DataFrame(
                {"unit": f"U{k}", "case": case, "site_id": sites, "observed_less_expected": course, "signal": signal}
            )
        )
        bands.append(pd.DataFrame({"unit": f"U{k}", "case": case, "low": -0.1 * case, "high": 1 + 0.05 * case}))
    charts = pd.concat(charts, ignore_index=True)
    year = 2020 + (charts["case"] - 1) // 10
    cases = pd.DataFrame({"site_id": charts["site_id"], "surgery_year": year, "centre": "North"})
    return charts, pd.concat(bands, ignore_index=True), cases


CHANGES = pd.DataFrame([(2021, "U1", "new drills"), (2022, "all", "form")], columns=["year", "unit", "what"])


def year_rows() -> pd.DataFrame:
    counts = {"n_sites": 80, "n_patients": 60, "n_events": 8}
    limits = {"conf_low": 0.05, "conf_high": 0.17}
    return pd.DataFrame(
        [
            result("audit.year", f"surgery_year={y}", "rate", 0.1, "patients", **counts, **limits)
            for y in range(2019, 2025)
        ]
    )


def learning_rows(n_operators: int = 6, n_events: int = 40) -> pd.DataFrame:
    note = remark("operators_own_intercepts", n_operators=n_operators)
    more = {"n_sites": 300, "n_patients": 200, "n_events": n_events, "conf_low": 0.02, "conf_high": 0.3, "note": note}
    return pd.DataFrame([result("audit.learning", "all", str(case), 0.1, "firth", **more) for case in (1, 5, 10, 20)])


def benchmark_parts() -> tuple[pd.DataFrame, pd.DataFrame]:
    rows = [result("audit.benchmark", "all", "pooled", -3.0, "adaptive_quadrature", conf_low=-3.5, conf_high=-2.5)]
    rows += [
        result("audit.benchmark", "all", f"prediction_{end}", v, "adaptive_quadrature")
        for end, v in (("low", 0.01), ("high", 0.2))
    ]
    published = [("k", f"Someone et al. {y} (review)", "osteotome", 1, 40) for y in range(2010, 2016)]
    return pd.DataFrame(rows), pd.DataFrame(
        published, columns=["source_key", "citation", "group", "events", "denominator"]
    )


def drawings(narrow: bool) -> dict:
    strips, layout = pd.DataFrame(STRIPS), {"narrow": narrow}
    benchmark, published = benchmark_parts()
    return {
        "funnel": draw_audit_funnel(pd.DataFrame(UNITS), Words({}), **layout),
        "matrix": draw_audit_matrix(strips, Words({}), **layout),
        "course": draw_audit_course(*charted(), CHANGES, **layout),
        "strips": draw_audit_strips(strips, **layout),
        "benchmark": draw_audit_benchmark(benchmark, published, strips, **layout),
        "years": draw_audit_years(year_rows(), CHANGES),
        "learning": draw_audit_learning(learning_rows()),
    }


@pytest.mark.parametrize("narrow", [False, True])
def test_figures_are_at_print_width_legible_and_nothing_overlaps(narrow):
    for name, drawing in drawings(narrow).items():
        width, height = drawing.figure.get_size_inches() * 25.4
        assert width == pytest.approx(SINGLE_MM if narrow or name in ("years", "learning") else DOUBLE_MM), name
        assert height < 240, name
        found, frame = boxes(drawing.figure), drawing.figure.bbox
        for k, (text, box) in enumerate(found):
            within = box.x0 >= -0.5 and box.y0 >= -0.5 and box.x1 <= frame.x1 + 0.5 and box.y1 <= frame.y1 + 0.5
            assert within, (name, text)
            for other, b in found[k + 1 :]:
                wide, high = min(box.x1, b.x1) - max(box.x0, b.x0), min(box.y1, b.y1) - max(box.y0, b.y0)
                assert not (wide > 1.4 and high > 1.4), (name, text, other)
        assert min(text.get_fontsize() for text in drawing.figure.findobj(Text) if text.get_text()) >= SMALL_PT
        assert drawing.alt.endswith(".")
        assert "nan" not in drawing.alt.split()


def test_nothing_is_drawn_of_nothing():
    none = pd.DataFrame(columns=list(RESULT_COLUMNS))
    strips = pd.DataFrame(columns=list(STRIPS[0]))
    assert draw_audit_funnel(none, Words({})) is None
    assert draw_audit_funnel(pd.DataFrame(unit_rows("C", 1, 8)), Words({})) is None  # below ten sites no rate
    assert draw_audit_matrix(strips, Words({})) is None
    assert draw_audit_strips(strips) is None
    assert draw_audit_years(none, CHANGES) is None
    assert draw_audit_course(pd.DataFrame(columns=["unit"]), none, none, CHANGES) is None


@pytest.mark.parametrize(("operators", "tears", "drawn"), [(5, 30, True), (4, 30, False), (5, 29, False)])
def test_a_learning_curve_takes_five_operators_and_thirty_tears(operators, tears, drawn):
    assert (draw_audit_learning(learning_rows(operators, tears)) is not None) == drawn


def test_a_change_stands_at_the_first_case_of_its_year():
    charts, _, cases = charted()
    own, places = charts[charts["unit"].eq("U1")], cases.set_index("site_id")
    assert cases_of_changes(own, "U1", places, CHANGES) == [11.0, 21.0]
    other = charts[charts["unit"].eq("U2")]
    assert cases_of_changes(other, "U2", places, CHANGES) == [21.0]  # that of every unit


def test_a_long_course_is_drawn_by_fewer_points_that_reach_as_high_and_as_low():
    charts, bands, cases = charted(2, 20_000)
    charts.loc[7_001, ["observed_less_expected", "signal"]] = 900.0, "up"
    drawing = draw_audit_course(charts, bands, cases, CHANGES)
    lines = [line.get_xydata() for axes in drawing.figure.axes for line in axes.lines if len(line.get_xdata()) > 2]
    assert len(lines) == 2
    for (_, own), line in zip(charts.groupby("unit"), sorted(lines, key=lambda line: -line.max()), strict=True):
        course = own["observed_less_expected"].to_numpy()
        assert len(line) <= 410
        assert line[:, 1].max() == course.max()
        assert line[:, 1].min() == course.min()
        assert line[[0, -1], 0].tolist() == [1, 20_000]
        assert (course[line[:, 0].astype(int) - 1] == line[:, 1]).all()

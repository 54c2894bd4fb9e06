"""The audit's report on made-up units: what stands on page one, how sure, and what is too small to be told."""

from __future__ import annotations

import math
import re

import numpy as np
import pandas as pd
import pytest
from made_series import PLAN
from test_figures import boxes

from liftseries.base.remarks import remark
from liftseries.models.shared.results import RESULT_COLUMNS
from liftseries.report.audit.benchmark import draw_audit_benchmark
from liftseries.report.audit.course_figure import cases_of_changes, draw_audit_course
from liftseries.report.audit.cycle import effect_of, state_of
from liftseries.report.audit.findings import by_luck, findings
from liftseries.report.audit.first_page import cases_received, not_flagged
from liftseries.report.audit.funnel_figure import draw_audit_funnel
from liftseries.report.audit.indicators import apart
from liftseries.report.audit.matrix_figure import draw_audit_matrix
from liftseries.report.audit.stages import STAGES, flagged
from liftseries.report.audit.strips_figure import draw_audit_strips
from liftseries.report.audit.unit_tables import units_table
from liftseries.report.audit.units import counted_out, units
from liftseries.report.audit.year_figures import draw_audit_learning, draw_audit_years
from liftseries.report.kit.figures.style import DOUBLE_MM, SINGLE_MM, SMALL_PT
from liftseries.report.kit.material import COLUMNS, Material
from liftseries.report.kit.words import Words
from liftseries.report.kit.writer import write
from liftseries.report.purposes import purpose
from liftseries.report.purposes.audit.files import write_summary

VIEWS = ("clustered", "binomial", "case_mix")
STAGE = {"name": "Confidential talk", "who": "chair", "working_days": 10, "what": "Talk."}
AUDIT = {
    "by": "operator",
    "period": [2024],
    "centre": "series",
    "standard": None,
    "case_mix": ["rbh_mid_mm"],
    "alert_sd": 2,
    "alarm_sd": 3,
    "odds_ratio": 2,
    "false_alarm": 0.05,
    "cusum_cases": 100,
    "policy": {"flag_means": "A reason to look.", "stages": [STAGE]},
}
NO_SURE = ("firm", "likely", "counted", "too few", "open", "it may be chance")


def result(analysis: str, subset: str, term: str, estimate: float, method: str = "", **more) -> dict:
    """A row of results.csv."""
    row = dict.fromkeys(RESULT_COLUMNS) | {"analysis": analysis, "subset": subset, "term": term, "method": method}
    return row | {"estimate": estimate, "note": "", "problem": "", "scale": "risk", "headline": True} | more


def unit_rows(
    name: str, events: int, sites: int, flags: tuple[int, int, int] = (0, 0, 0), needed: float = 200.0
) -> list:
    """The rows of a unit in the three views."""
    counts = {"n_events": events, "n_sites": sites, "n_patients": sites}
    rows = []
    for view, flag in zip(VIEWS, flags, strict=True):
        values = {
            "expected": 0.08,
            "upper_alert": 0.2,
            "upper_alarm": 0.3,
            "flag": flag,
            "false_flag": 0.02,
            "false_alarm_flag": 0.001,
        }
        values |= {"needed_sites": needed, "years": 5.0} if view == "clustered" else {}
        rows += [result("audit.funnel", f"operator={name}", term, v, view, **counts) for term, v in values.items()]
        share, limits = (
            events / sites,
            {"conf_low": 0.5 * events / sites, "conf_high": min(1.0, 0.1 + 1.5 * events / sites)},
        )
        rows.append(result("audit.funnel", f"operator={name}", "rate", share, view, **counts, **limits))
    return rows


def all_rows(flags: int, sites: int = 240, events: int = 24) -> list:
    values = {"flags": flags, "expected_flags": 0.2, "any_flag": 0.18}
    values |= {"alarm_flags": 1, "expected_alarm_flags": 0.01, "any_alarm_flag": 0.01}
    counts = {"n_events": events, "n_sites": sites, "n_patients": sites}
    return [result("audit.funnel", "all", term, value, "clustered", **counts) for term, value in values.items()]


def strip_row(unit: str, indicator: str, events: int, counted: int, low: float, high: float, **more) -> dict:
    value = events / counted if counted else math.nan
    row = {"unit": unit, "indicator": indicator, "counts": "sites", "good": "high", "counted": counted, "unknown": 1}
    row |= {"not_applicable": 0, "not_due": 2, "n_events": events, "value": value, "conf_low": low, "conf_high": high}
    row |= {"months": math.nan, "standard": math.nan, "standard_kind": "none", "verdict": None, "enough": True}
    return row | {"standard_source": None, "standard_date": None} | more


STRIPS = [
    strip_row("all", "perforation", 24, 240, 0.07, 0.14, good="low"),
    strip_row("A", "perforation", 14, 60, 0.15, 0.35, good="low"),
    strip_row("all", "probed", 180, 240, 0.7, 0.8),
    strip_row("A", "probed", 55, 60, 0.8, 0.97),
    strip_row("B", "probed", 0, 60, 0.0, 0.1),
    strip_row("C", "probed", 3, 8, 0.1, 0.7, enough=False),
    strip_row("all", "cases_received", 240, 250, math.nan, math.nan, counts="cases"),
    strip_row("A", "cases_received", 60, 60, math.nan, math.nan, counts="cases"),
]
UNITS = [
    *unit_rows("A", 14, 60, (2, 2, 2)),
    *unit_rows("B", 12, 60, (2, 2, 1)),
    *unit_rows("C", 1, 8),
    *unit_rows("D", 9, 112),
]
TABLES = {
    "audit_indicator_strips": pd.DataFrame(STRIPS),
    "audit_received": pd.DataFrame(
        [("A", 2024, 60, 60), ("B", 2024, 70, 60), ("C", 2024, 8, 3), ("E", 2024, 6, 0)],
        columns=["unit", "year", "expected", "received"],
    ),
}


def material(rows: list | None = None, audit: dict | None = None, **tables) -> Material:
    """What a report is made from, with these rows of results.csv and these tables."""
    rows = [*UNITS, *all_rows(2)] if rows is None else rows
    plan = PLAN | {"plan": PLAN["plan"] | {"audit": AUDIT | (audit or {})}, "sharing": {"smallest_cell": 5}}
    plan |= {"study": PLAN["study"] | {"data_until": "2025-12"}}
    empty = {name: pd.DataFrame(columns=columns.split()) for name, columns in COLUMNS.items()}
    empty["left_out"] = pd.DataFrame(columns=["analysis", "subset", "reason", "n_sites"])
    results = pd.DataFrame(rows, columns=list(RESULT_COLUMNS))
    return Material(plan, {}, {}, empty | TABLES | {"results": results} | tables)


def chart_rows(unit: str, method: str, signals: int, expected: float, n: int = 60) -> list:
    values = {
        "signals": signals,
        "expected_signals": expected,
        "run_length": 90,
        "limit": 3.0,
        "achieved_false_alarm": 0.1,
    }
    values |= {"first_signal": 41} if signals else {}
    counts = {"n_sites": n, "n_patients": n, "n_events": 14}
    return [result("audit.cusum", f"operator={unit}", term, value, method, **counts) for term, value in values.items()]


def page(made: Material) -> list[str]:
    """The texts of the first page."""
    blocks = write(purpose("audit"), made).reports[0].chapters[0].blocks
    texts = []
    for block in blocks:
        if block.kind == "answers":
            texts += [text for one in block.items for text in (one.lead, one.text, one.sure)]
        elif block.kind == "table":
            texts += [cell for row in block.display.rows for cell in row]
        elif block.kind == "listing":
            texts += [block.text, *block.items]
        else:
            texts.append(block.text)
    return texts


def test_an_alarm_is_firm_only_where_all_three_views_raise_it():
    a, b, *_ = units(material())
    assert a.stands
    assert not b.stands  # an alert with the case mix allowed for
    found = findings(material())
    assert ["A" in one.lead for one in found if one.sure.startswith("firm")] == [True]
    assert not any("operator B" in one.lead for one in found)


def test_a_view_that_is_not_told_makes_no_flag_stand():
    rows = [row for row in UNITS if row["method"] != "case_mix"]
    assert not any(unit.stands for unit in units(material(rows)))


def test_there_are_at_most_five_findings_each_with_how_sure():
    rows = [row for k in range(7) for row in unit_rows(f"U{k}", 14, 60, (2, 2, 2))]
    found = findings(material([*rows, *all_rows(7)]))
    assert len(found) == 5
    assert all(one.sure.startswith(NO_SURE) for one in found)


def test_no_count_of_fewer_than_five_stands_on_the_first_page():
    assert counted_out(3, 8, 5) == "fewer than 5 of 8"
    assert counted_out(0, 8, 5) == "0 of 8"
    text = " ".join(page(material()))
    assert "C (fewer than 5 of 8)" in text
    assert not re.search(r"(?<![.\d])[1-4] of (?!100\b)\d", text)


def test_too_few_tears_are_not_counted_on_the_first_page():
    why = remark("below_gate_audit", n_events=4)
    rows = [result("audit.funnel", "all", "flags", math.nan, "clustered", n_events=4, n_sites=60, problem=why)]
    text = " ".join(page(material(rows)))
    assert "Fewer than 5 tears" in text
    assert "4 event" not in text


def test_who_sent_nothing_in_a_year_is_named():
    told = cases_received(material())
    assert "123 of 144 cases" in told
    assert "operator E in 2024 (6 cases expected)" in told


def test_nobody_has_the_sites_to_be_cleared_is_said():
    assert not_flagged(material()).startswith("Of 4 operators none")
    enough = [*UNITS, *unit_rows("Z", 20, 240, needed=200.0)]
    assert "1 unit has" in not_flagged(material(enough))


def test_chance_decides_whether_a_signal_is_called_likely():
    """Two signals or more where 0.3 are expected: 1 - e^-0.3 (1 + 0.3) = 0.0369; one or more: 0.2592."""
    assert by_luck(2, 0.3) == pytest.approx(0.036936, abs=1e-6)
    assert by_luck(1, 0.3) == pytest.approx(0.259182, abs=1e-6)
    quiet = [row for row in UNITS if row["term"] != "flag"]
    for n, word in ((1, "it may be chance"), (2, "likely")):
        rows = [*quiet, *chart_rows("C", "up", 1, 0.15), *chart_rows("D", "up", n - 1, 0.15)]
        found = [one for one in findings(material(rows)) if "operator C" in one.lead]
        assert [one.sure.startswith(word) for one in found] == [True]


def test_units_whose_whole_interval_is_worse_than_the_series_lie_apart():
    found = list(apart(pd.DataFrame(STRIPS)))
    assert [(term, [row["unit"] for row in rows]) for term, rows, _ in found] == [("probed", ["B", "C"])]


def test_an_open_action_past_its_day_is_overdue():
    action = pd.Series({"status": "open", "due": "2025-11-30"})
    assert state_of(action, "2025-12") == "overdue"
    assert state_of(action, "2025-10") == "open"
    assert state_of(pd.Series({"status": "done", "due": "2025-01"}), "2025-12") == "done"


@pytest.mark.parametrize(
    ("values", "cell", "told"),
    [
        ((0.5, 40, 20, 0.75, 40, 30), 5, ("better since", "50.0 of 100 then, 75.0 now")),
        ((0.5, 40, 20, 0.4, 40, 16), 5, ("worse since", "50.0 of 100 then, 40.0 now")),
        ((0.5, 400, 200, 0.503, 400, 201), 5, ("unchanged since", "50.0 of 100 then, 50.3 now")),
        ((0.9, 40, 36, 0.95, 40, 38), 5, ("too few to tell whether it helped", "")),  # 4 and 2 others
        ((0.9, 40, 36, 0.95, 40, 38), 0, ("better since", "90.0 of 100 then, 95.0 now")),
    ],
)
def test_an_indicator_before_and_after_an_action(values, cell, told):
    names = ("before", "before_counted", "before_events", "now", "now_counted", "now_events")
    row = {"id": "1", "good": "high", "counts": "sites"} | dict(zip(names, values, strict=True))
    made = material(audit_action_effects=pd.DataFrame([row]))
    assert effect_of(made, pd.Series({"id": "1"}), cell) == told


def test_each_flag_goes_through_four_stages_in_order_with_its_numbers():
    made = material([*UNITS, *all_rows(2), *chart_rows("D", "up", 1, 0.15)])
    assert [unit.name for unit in flagged(made)] == ["A", "B", "D"]  # D by its chart
    assert [name for name, _ in STAGES] == ["quality", "mix", "chance", "cause"]
    a = flagged(made)[0]
    told = {name: tell(made, a) for name, tell in STAGES}
    assert "between 14 and 15 of 61" in told["quality"]
    assert "8.0 tears of 100" in told["mix"]
    assert "2.0 of 100 such units" in told["chance"]
    chapters = {chapter.id: chapter for chapter in write(purpose("audit"), made).reports[0].chapters}
    tables = [block.display for block in chapters["stages"].blocks if block.kind == "table"]
    assert [row[0] for row in tables[0].rows] == ["Data quality", "Case mix", "Chance", "Cause"]


def test_a_reply_stands_unedited_beside_its_flag_and_silence_is_said():
    columns = ["year", "unit", "indicator", "replied_on", "data_corrected", "statement"]
    replies = pd.DataFrame([(2024, "A", "perforation", "2025-01", "yes", "Looked at; right.")], columns=columns)
    chapters = {one.id: one for one in write(purpose("audit"), material(responses=replies)).reports[0].chapters}
    texts = [block.text for block in chapters["stages"].blocks if getattr(block, "lead", "") == "Reply"]
    assert texts == ["2025-01: “Looked at; right.”", "No reply."]


def test_the_table_of_units_says_whether_a_flag_stands_and_what_it_takes():
    content = units_table(material(), Words({}))
    rows = {row[0]: row for row in content.rows}
    assert rows["A"][4:6] == ("alarm, high", "yes")
    assert rows["B"][4:6] == ("alarm, high", "no")
    assert rows["C"][2] == "fewer than 10 sites: no rate"
    assert rows["D"][7] == "200 (5 years more)"
    assert len(content.columns) <= 8


def test_a_run_without_anything_to_tell_still_gives_its_documents():
    nothing = material(
        [],
        audit_indicator_strips=pd.DataFrame(columns=list(STRIPS[0])),
        audit_received=TABLES["audit_received"].iloc[:0],
    )
    written = write(purpose("audit"), nothing)
    assert written.reports[0].chapters[0].id == "answers"


def test_the_first_page_stands_alone_on_one_page(tmp_path):
    actions = pd.DataFrame(
        [
            (f"a{k}", 2023, "perforation", "A", "something to do " * 6, "chair", "2024-06", None, "open", None, None)
            for k in range(9)
        ],
        columns=COLUMNS["actions"].split(),
    )
    rows = [row for k in range(9) for row in unit_rows(f"U{k}", 14, 60, (2, 2, 2))]
    made = material([*rows, *all_rows(9)], actions=actions)
    write_summary(write(purpose("audit"), made), tmp_path)
    pdf = (tmp_path / "summary.pdf").read_bytes()
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)) == 1


# ── figures ─────────────────────────────────────────────────────────────────────────────────────


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
        from matplotlib.text import Text

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

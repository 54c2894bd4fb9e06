"""The audit's report on made-up units: what stands on page one, how sure, and what is too small to be told."""

from __future__ import annotations

import math
import re

import pandas as pd
import pytest
from audit_material import (
    STRIPS,
    TABLES,
    UNITS,
    all_rows,
    chart_rows,
    material,
    page,
    result,
    unit_rows,
)

from liftseries.base.remarks import remark
from liftseries.report.audit.cycle import effect_of, state_of
from liftseries.report.audit.findings import by_luck, findings
from liftseries.report.audit.first_page import cases_received, not_flagged
from liftseries.report.audit.indicators import apart
from liftseries.report.audit.stages import STAGES, flagged
from liftseries.report.audit.unit_tables import units_table
from liftseries.report.audit.units import counted_out, units
from liftseries.report.kit.material import COLUMNS
from liftseries.report.kit.words import Words
from liftseries.report.kit.writer import write
from liftseries.report.purposes import purpose
from liftseries.report.purposes.audit.files import write_summary

SURE = ("firm", "likely", "counted", "too few", "open", "it may be chance")


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
    assert all(one.sure.startswith(SURE) for one in found)


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
    assert by_luck(0, 0.3) == 1
    assert by_luck(400, 200.0) < 1e-30  # of a registry: neither too large to be raised nor nought
    assert by_luck(200, 200.0) == pytest.approx(0.5, abs=0.02)
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
    assert "Odd entries" not in told["quality"]  # a run that left no count
    odd = pd.DataFrame([("A", 61, 1), ("B", 70, 4)], columns=["unit", "n_sites", "n_odd"])
    counted = STAGES[0][1](material([*UNITS, *all_rows(2)], audit_odd_sites=odd), a)
    assert "Odd entries, not accepted, at 1 site of 61; whole series 5 of 131." in counted
    assert "8.0 tears of 100" in told["mix"]
    assert "2.0 of 100 such units" in told["chance"]
    chapters = {chapter.id: chapter for chapter in write(purpose("audit"), made).reports[0].chapters}
    tables = [block.display for block in chapters["stages"].blocks if block.kind == "table"]
    assert [row[0] for row in tables[0].rows] == ["Data quality", "Case mix", "Chance", "Cause"]


def filed_row(**more) -> pd.DataFrame:
    row = {"unit": "A", "n_cells": 0, "n_gone": 0, "n_added": 0, "before_events": 14, "before_sites": 60}
    row |= {"before_p_high": 0.0001, "before_flag": 2.0, "after_p_high": 0.0001}
    return pd.DataFrame([row | more])


@pytest.mark.parametrize(
    ("row", "told", "untold"),
    [
        (filed_row().iloc[:0], "No cell of the study was corrected.", "As first filed"),
        (filed_row(), "No cell of this unit was corrected.", "As first filed"),
        (
            filed_row(n_cells=1, before_events=6, before_p_high=0.413, before_flag=0.0),
            "1 cell of this unit was corrected. As first filed: 6 tears at 60 sites, probability of as many or more "
            "0.413, flag none. As corrected: 14 tears at 60 sites, probability of as many or more <0.001, flag alarm, "
            "high.",
            "cannot be read",
        ),
        (filed_row(n_cells=2, n_gone=2, before_sites=58), "2 sites cannot be read as filed", "left out or renamed"),
        (filed_row(before_flag=math.nan, before_p_high=math.nan), "14 tears at 60 sites, not judged", "cannot be read"),
    ],
)
def test_the_first_stage_says_how_the_flag_moved_with_corrections(row, told, untold):
    made = material(audit_as_filed=row)
    quality = dict(STAGES)["quality"](made, units(made)[0])
    assert told in quality
    assert untold not in quality


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

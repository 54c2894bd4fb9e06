"""Adherence to the drilling plan in the report, on its first page and in the supplement."""

import itertools
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_series import KINDS, PLAN
from test_figures import boxes

from liftseries.base.remarks import WITHHELD_COUNT, remark
from liftseries.report.depth import answers, declarations, methods, report_chapter, supplement_chapter
from liftseries.report.depth.sentences import ends
from liftseries.report.depth.tables import cases_passes, cases_table, deviations_table, shares_table
from liftseries.report.kit.drawing import draw_figure
from liftseries.report.kit.material import Withheld
from liftseries.report.kit.numbers import percent, share_of
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.english.depth import SENTENCES
from liftseries.report.languages.say import words_that_leave
from liftseries.report.purposes import purpose

FIGURES = (*declarations.REPORT_FIGURES, *declarations.FIGURES)
LAYOUTS = [(figure, narrow) for figure in FIGURES for narrow in (False, True)[: 1 + figure.has_narrow]]


def paragraphs(material, blocks) -> dict[str, str]:
    """Lead -> text."""
    found = blocks(Writer(purpose("publication"), material))
    return {block.lead: block.text for block in found if block.kind == "paragraph"}


@pytest.fixture(scope="module")
def in_report(materials) -> dict[str, str]:
    """What the report says of the full series."""
    return paragraphs(materials["full"], report_chapter.blocks)


# ── the report ────────────────────────────────────────────────────────────────────────────────────


def test_how_the_drilling_ended_is_told_with_every_share_and_its_interval(materials, in_report):
    told = in_report["How the drilling ended"]
    rows = materials["full"].rows("depth.ended")
    assert told.startswith(f"Of {int(rows['n_sites'].iloc[0])} sites with a plan and a drilling log")
    for _, row in rows.iterrows():
        limits = f"{percent(row['conf_low'])} to {percent(row['conf_high'])}"
        assert re.search(rf"at {int(row['n_events'])} \({percent(row['estimate'])}, (95% interval )?{limits}\)", told)


def test_who_kept_the_plan_and_what_cannot_be_judged(materials, in_report):
    full = materials["full"]
    row = full.rows("depth.adherence", "all").iloc[0]
    told = in_report["Drilled as planned"]
    assert told.startswith(f"{int(row['n_events'])} of {int(row['n_sites'])} sites ({percent(row['estimate'])}, ")
    assert "no drilling log" not in told  # every site of this series has one
    left_out = pd.DataFrame(
        [("depth.adherence", "all", "as_drilled unknown", 7), ("depth.deviations", "all", "no drilling log", 6)],
        columns=["analysis", "subset", "reason", "n_sites"],
    )
    other = replace(full, tables={**full.tables, "left_out": left_out})
    told = paragraphs(other, report_chapter.blocks)["Drilled as planned"]
    assert told.endswith("6 sites have no drilling log, and 1 log tells too little to be judged.")


def test_the_three_commonest_deviations_are_named_the_largest_share_first(materials, in_report):
    full = materials["full"]
    rows = full.rows("depth.deviations", "all")
    rows = rows[~rows["term"].str.endswith(" not judged")].sort_values("estimate", ascending=False, kind="stable")
    told = in_report["Deviations"]
    found = re.findall(r"at (\d+) of (\d+) \(", told)
    assert found == [(str(int(row["n_events"])), str(int(row["n_sites"]))) for _, row in rows.head(3).iterrows()]


def test_guided_against_freehand_is_no_effect(materials, in_report):
    told = in_report["Guided and freehand"]
    table = materials["full"].table("characteristics").set_index(["column", "level", "subset"])["share"]
    assert f"{percent(table['approach', 'guided', 'protocol=A'])} in protocol A" in told
    assert "not randomised" in told
    assert "Guided and freehand" not in paragraphs(materials["one_level"], report_chapter.blocks)


def test_perforations_stand_by_whether_the_plan_was_kept(materials, in_report):
    told = in_report["Perforations"]
    rows = materials["full"].rows("depth.perforation").set_index("subset")
    kept, deviated = (rows.loc[f"drilled_as_planned={level}"] for level in ("yes", "no"))
    assert f"at {int(kept['n_events'])} of {int(kept['n_sites'])} (" in told
    assert f"at {int(deviated['n_events'])} of {int(deviated['n_sites'])} (" in told
    assert "associated" in told


def test_a_share_of_none_has_a_bound_and_no_interval(materials):
    full = materials["full"]
    results = full.results.copy()
    none = results["analysis"].eq("depth.ended") & results["term"].eq("short")
    note = "a bound of one side, as all sites are alike"
    results.loc[none, ["n_events", "estimate", "conf_low", "conf_high", "note"]] = [0, 0.0, 0.0, 0.0152, note]
    told = paragraphs(replace(full, tables={**full.tables, "results": results}), report_chapter.blocks)
    assert "at 0 (0.0%, at most 1.5% with 95% confidence)" in told["How the drilling ended"]


@pytest.mark.parametrize("kind", ["no_visits_no_log", "empty"])
def test_without_a_log_there_is_nothing_at_all(materials, kind):
    writer = Writer(purpose("publication"), materials[kind])
    for blocks in (report_chapter.blocks, supplement_chapter.blocks, supplement_chapter.worked_cases):
        assert list(blocks(writer)) == []
    assert list(methods.of_agreement(writer)) == []
    assert [block.lead for block in methods.of_depths(writer)] == ["Floor and lift"]
    assert answers.adherence(materials[kind]) is None
    assert not {table.name for table in declarations.TABLES} & set(writer.tables)
    assert not materials[kind].rows("depth.proportional_bias")["note"].str.contains("two sites").any()


def test_the_chapter_is_written_for_two_patients(materials):
    told = paragraphs(materials["tiny"], report_chapter.blocks)
    assert "The plan" in told
    assert "nan" not in " ".join(told.values()).lower()


def test_every_source_is_a_row_of_the_results(materials):
    full = materials["full"]
    keys = {" · ".join(row) for row in full.results[["analysis", "subset", "term"]].astype(str).to_numpy()}
    keys |= {" · ".join(r) for r in full.results[["analysis", "subset", "term", "method"]].astype(str).to_numpy()}
    writer = Writer(purpose("publication"), full)
    for blocks in (report_chapter.blocks, supplement_chapter.blocks):
        for block in blocks(writer):
            assert set(filter(None, getattr(block, "source", "").split("; "))) <= keys
    assert set(answers.adherence(full).source.split("; ")) <= keys


# ── the first page ────────────────────────────────────────────────────────────────────────────────


def test_the_answer_tells_how_sites_ended_and_how_many_kept_the_plan(materials):
    full = materials["full"]
    answer = answers.adherence(full)
    row = full.rows("depth.adherence", "all").iloc[0]
    assert (
        f"{int(row['n_events'])} of {int(row['n_sites'])} sites ({percent(row['estimate'])}, 95% interval"
        in answer.text
    )
    assert answer.text.count("(") == 5  # four ends, one share
    assert "not measured" in answer.sure


# ── the supplement ────────────────────────────────────────────────────────────────────────────────


def test_tables_have_eight_columns_at_most_and_every_share(materials):
    full = materials["full"]
    shares, deviations = (table(full, full.words) for table in (shares_table, deviations_table))
    assert max(len(shares.columns), len(deviations.columns)) <= 8
    wanted = [*full.rows("depth.ended").iterrows(), *full.rows("depth.adherence").iterrows()]
    cells = {row[1] for row in shares.rows}
    assert {share_of(row["n_events"], row["n_sites"]) for _, row in wanted} <= cells
    column = deviations.columns.index("Freehand")
    (start,) = [row for row in deviations.rows if row[0] == "Drill started outside the guide"]
    assert start[column] == "cannot occur"
    assert len(deviations.keys) == len(deviations.rows)


def test_shortfall_that_is_obedience_is_counted(materials):
    rows = materials["full"].rows("depth.ended").set_index("term")["n_events"].astype(int)
    found = supplement_chapter.blocks(Writer(purpose("publication"), materials["full"]))
    text = " ".join(block.text for block in found if block.kind == "paragraph")
    assert f"of {rows['opened_before'] + rows['short']} sites that ended short" in text
    assert f"{rows['opened_before']} had the floor open" in text


@pytest.mark.parametrize(
    ("change", "words"),
    [((-0.2, -0.3, -0.1), "larger the shortfall"), ((0.2, 0.1, 0.3), "larger the excess"),
     ((0.0, -0.1, 0.1), "either direction")],
)  # fmt: skip
def test_the_change_per_mm_planned_has_one_sign_and_says_which_way(materials, change, words):
    full = materials["full"]
    results = full.results.copy()
    slope = results["analysis"].eq("depth.proportional_bias") & results["term"].eq("planned_last_mm")
    results.loc[slope, ["estimate", "conf_low", "conf_high"]] = change
    writer = Writer(purpose("publication"), replace(full, tables={**full.tables, "results": results}))
    (told,) = [
        b.text for b in supplement_chapter.blocks(writer) if b.kind == "paragraph" and "per mm planned" in b.text
    ]
    assert words in told
    assert f"{change[0]:.2f}".replace("-", "−") in told


def test_worked_cases_show_the_subtraction_in_their_table(materials):
    """12.5 - 9.5 + 0 = 3: the first pass of the first case; the table's platform is what closes the sum."""
    table = cases_table(materials["full"], materials["full"].words)
    assert len(table.columns) <= 8
    assert table.rows[0][2:6] == ("12.5", "9.5", "0.0", "3.0")
    passes = cases_passes(materials["full"])
    assert np.allclose(passes["length_mm"] - passes["stop_length_mm"] + passes["platform_mm"], passes["depth_mm"])
    told = paragraphs(materials["full"], supplement_chapter.worked_cases)["Worked cases"]
    assert told.startswith("Two sites, pass by pass.")
    assert "12.5 − 9.5 + 0 = 3 mm at pass 1 of case 1" in told


def test_a_platform_above_the_crest_is_taken_off(materials):
    full = materials["full"]
    cases = full.table("ladder_cases").assign(depth_mm=lambda table: table["depth_mm"] - 0.5)
    told = paragraphs(replace(full, tables={**full.tables, "ladder_cases": cases}), supplement_chapter.worked_cases)
    assert "12.5 − 9.5 − 0.5 = 2.5 mm at pass 1 of case 1" in told["Worked cases"]


# ── released ──────────────────────────────────────────────────────────────────────────────────────


def test_a_release_says_no_more_than_its_rows(materials):
    """All counts withheld: no number in the sentences, no mark in the figure."""
    full = materials["full"]
    results = full.results.copy()
    depth = results["analysis"].str.startswith("depth.")
    results.loc[depth, ["n_sites", "n_patients", "n_events"]] = WITHHELD_COUNT
    results.loc[depth, ["estimate", "std_error", "conf_low", "conf_high", "p_value", "df"]] = np.nan
    left_out = full.left_out.assign(n_sites=WITHHELD_COUNT)
    tables = {**full.tables, "results": results, "left_out": left_out}
    leaving = replace(full, tables=tables, withheld=Withheld(5, 10, 20, 100, 0, 0, False))
    told = paragraphs(leaving, report_chapter.blocks)
    assert set(told) <= {"The plan", "How sure"}
    assert list(supplement_chapter.worked_cases(Writer(purpose("publication"), leaving))) == []
    drawing = draw_figure(declarations.REPORT_FIGURES[0], leaving.read, PLAN)
    assert not [line for axes in drawing.figure.axes for line in axes.lines if line.get_marker() == "o"]
    assert not re.search(r"\d", drawing.alt)
    assert drawing.covers == ""


# ── figures ───────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("figure", "narrow"), LAYOUTS, ids=lambda value: getattr(value, "name", str(value)))
def test_a_figure_is_whole_in_both_layouts(layouts, kind, figure, narrow):
    """At print width, type of 7 points or more, nothing cut off, no text on another; no figure without a log."""
    drawing = layouts[kind, figure.name, narrow]
    if kind == "no_visits_no_log":
        assert drawing is None
    if drawing is None:
        return
    width = drawing.figure.get_size_inches()[0] * 25.4
    assert width == pytest.approx(84) or (not narrow and width == pytest.approx(174))
    page, touch = drawing.figure.bbox, drawing.figure.dpi / 72
    found = boxes(drawing.figure)
    for text, box in found:
        assert box.x0 >= -0.5, text
        assert box.y0 >= -0.5, text
        assert box.x1 <= page.x1 + 0.5, text
        assert box.y1 <= page.y1 + 0.5, text
    for (one, a), (other, b) in itertools.combinations(found, 2):
        wide, high = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        assert not (wide > touch and high > touch), f"{one!r} and {other!r}"
    sizes = [text.get_size() for text in drawing.figure.findobj(lambda artist: hasattr(artist, "get_fontsize"))]
    assert min(sizes) >= 7


def test_what_an_approach_cannot_have_is_not_drawn_as_none(made, drawings):
    """Each deviation has a mark an approach, but for the unguided start of freehand sites."""
    (_, axes) = [axes for axes in drawings["full"]["adherence"].figure.axes if "%" in axes.get_xlabel()][:2]
    marks = [line.get_marker() for line in axes.lines if line.get_marker() in ("o", "D")]
    assert marks.count("D") == marks.count("o") - 1


def test_lines_of_agreement_are_told_apart_without_colour(drawings):
    axes = drawings["full"]["planned_achieved"].figure.axes[-1]
    solid = [line for line in axes.lines if line.get_linestyle() == "-"]
    assert len(solid) == 1  # no difference
    assert len({str(line.get_linestyle()) + str(line._dash_pattern) for line in axes.lines}) == 3


# ── sentences ─────────────────────────────────────────────────────────────────────────────────────


def test_no_sentence_of_the_chapter_has_a_word_that_was_mended():
    words = " ".join(SENTENCES.values()).lower()
    for word in ("held against", "foretold", "shallower against", "hang together", "1 events", "the hole"):
        assert word not in words


def test_of_an_end_whose_number_is_withheld_it_is_said_so_and_its_share_where_that_is_told_roundly():
    told = {"estimate": 0.5, "conf_low": 0.4, "conf_high": 0.6, "note": "", "n_events": 20.0}
    withheld = {**dict.fromkeys(told, np.nan), "note": "", "n_events": WITHHELD_COUNT}
    roundly = withheld | {"estimate": 0.07, "note": remark("rounded_share", points=1.5)}
    rows = pd.DataFrame([told | {"term": "at_plan"}, roundly | {"term": "deeper"}, withheld | {"term": "short"}])
    with words_that_leave():
        assert ends(rows) == [
            "as planned at 20 (50%, 95% interval 40% to 60%)",
            "deeper than planned at 7% (rounded, ± 1.5 points)",
            "short of the planned depth with the floor closed at a number of sites that is withheld",
        ]


def test_perforations_by_deviation_go_unsaid_where_a_number_is_withheld(materials, monkeypatch):
    material = materials["full"]
    said = [block.text for block in report_chapter._perforated(material)]
    assert "perforated at" in said[0]
    monkeypatch.setattr(report_chapter, "n_of", lambda row, further: "" if further else "3 of 12 (25%)")
    assert not [*report_chapter._perforated(material)]

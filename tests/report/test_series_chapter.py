"""The chapter on the series: a page that says who was studied; a flow whose boxes hold their text; a short table."""

import re
from dataclasses import replace

import pandas as pd
import pytest
from made_series import PLAN

from liftseries.models.series.describe import characteristics
from liftseries.report.kit.material import Material, Withheld
from liftseries.report.kit.numbers import decimal
from liftseries.report.kit.words import DEVIATIONS, Words
from liftseries.report.kit.writer import Writer
from liftseries.report.purposes import purpose
from liftseries.report.series.answers import who
from liftseries.report.series.characteristics import MOST_ROWS, characteristics_table, full_table
from liftseries.report.series.declarations import PARTS
from liftseries.report.series.figures import BRANCHES, PAD_MM, draw_flow
from liftseries.report.series.recorded_tables import implant_sizes_table
from liftseries.report.series.report_chapter import oddities, set_aside, who_where_when
from liftseries.report.series.supplement_chapter import what_was_studied
from liftseries.report.series.tables import (
    MOST_GROUPS,
    missing_table,
    oddities_table,
    set_aside_table,
)

MM_PER_INCH = 25.4
WITHHOLDING = Withheld(5, 10, 20, 100, 10, 30, rows_leave=False)
FLOW = pd.DataFrame(
    [
        ("read", 93, 180),
        ("set aside", 3, 4),
        ("in the series", 90, 176),
        ("with a drilling log", 80, 150),
        ("perforation known", 90, 1),
        ("with an implant", 88, 170),
        ("followed", 0, 0),
    ],
    columns=["stage", "n_patients", "n_sites"],
)


def with_tables(material: Material, **tables) -> Material:
    return replace(material, tables={**material.tables, **tables})


def described(n_groups: int, **columns) -> pd.DataFrame:
    """The characteristics of a site a patient in so many protocols."""
    n = 12 * n_groups
    cases = pd.DataFrame(
        {
            "patient_id": range(n),
            "protocol": [f"P{k % n_groups:02d}" for k in range(n)],
            "rbh_mid_mm": [4.0, 5.0, 6.0] * (n // 3),
            "approach": pd.Categorical(["guided", "freehand"] * (n // 2)),
            **{name: values * (n // len(values)) for name, values in columns.items()},
        }
    )
    return characteristics(cases)


# ── first page ────────────────────────────────────────────────────────────────────────────────────────────────────
def test_who_names_patients_sites_centres_and_follow_up(materials, made):
    cases, told = made["full"].cases, who(materials["full"])
    n_sites, n_patients = len(cases), cases["patient_id"].nunique()
    assert told.text.startswith(f"{n_sites} sites of {n_patients} patients at 2 centres (east and west)")
    row = made["full"].rows("followup.median").query("term == 'median'").iloc[0]
    assert f"Median follow-up was {decimal(row['estimate'], 1)} months" in told.text
    assert told.source == "followup.median · all · median"


@pytest.mark.parametrize(("most", "named"), [(2, True), (1, False)])
def test_centres_are_named_where_they_are_few(materials, monkeypatch, most, named):
    monkeypatch.setattr("liftseries.report.series.answers.MOST_NAMED", most)
    text = who(materials["full"]).text
    assert "at 2 centres" in text
    assert ("(east and west)" in text) is named


def test_follow_up_is_left_unsaid_without_a_visit_and_nobody_is_nobody(materials):
    told = who(materials["no_visits_no_log"])
    assert "follow-up" not in told.text
    assert told.source == ""
    assert who(materials["empty"]) is None


def test_the_end_of_the_data_is_told_as_a_month(materials):
    plan = {**PLAN, "study": {**PLAN["study"], "data_until": "2025-12"}}
    assert who(replace(materials["full"], plan=plan)).text.endswith("The data end in December 2025.")
    implied = with_tables(materials["full"], followup_closed=pd.DataFrame({"month": ["2024-03"], "implied": [True]}))
    assert "the latest month in the tables is taken: March 2024." in who(implied).text
    closed = materials["full"].tables["followup_closed"].iloc[:0]
    assert "data end" not in who(with_tables(materials["full"], followup_closed=closed)).text


def test_rows_set_aside_are_counted_and_stay_in_the_house(materials):
    assert set_aside(materials["full"]).startswith("3 rows of all tables were set aside")
    one = materials["full"].table("set_aside").iloc[:1]
    assert set_aside(with_tables(materials["full"], set_aside=one)).startswith("1 row of all tables was set aside")
    assert set_aside(with_tables(materials["full"], set_aside=one.iloc[:0])) == "No row was set aside."
    assert "stays in the house" in set_aside(replace(materials["full"], withheld=WITHHOLDING))


def test_the_sentence_on_sites_of_a_patient_counts_patients(materials, made):
    (told,) = who_where_when(materials["full"])
    known = made["full"].cases.query("perforation != 'unknown'")
    sites = made["full"].cases.groupby("patient_id").size()
    several = sum(sites[patient] > 1 for patient in known["patient_id"].unique())
    assert f"Of {known['patient_id'].nunique()} patients with a site where it is known" in told.text
    assert f"{several} patients have more than one site" in told.text
    assert "series.one_or_several · all · tears several" in told.source


# ── flow ──────────────────────────────────────────────────────────────────────────────────────────────────────────
def withheld_flow() -> pd.DataFrame:
    return FLOW.assign(n_patients=-1, n_sites=-1)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("flow", [FLOW, withheld_flow()], ids=["counted", "withheld"])
def test_every_text_of_the_flow_fits_its_box(made, flow, narrow):
    refused = made["full"].left["set_aside.csv"]
    figure = draw_flow(flow, refused, Words({}), narrow).figure
    figure.set_dpi(600)
    (axes,) = figure.axes
    renderer = figure.canvas.get_renderer()
    boxes = [patch.get_window_extent(renderer) for patch in axes.patches if hasattr(patch, "get_width")]
    somebody = {"in the series", *flow.loc[flow["n_sites"].gt(0), "stage"]}
    with_somebody = somebody & {*BRANCHES, "read", "set aside", "in the series"}
    assert len(boxes) == len(axes.texts) == len(with_somebody)
    pad = PAD_MM / 2 / MM_PER_INCH * figure.dpi
    for text, frame in zip(axes.texts, boxes, strict=True):
        inside = text.get_window_extent(renderer)
        assert frame.x0 + pad <= inside.x0, text.get_text()
        assert inside.x1 <= frame.x1 - pad, text.get_text()
        assert frame.y0 <= inside.y0, text.get_text()
        assert inside.y1 <= frame.y1, text.get_text()
        assert frame.x0 >= 0
        assert frame.x1 <= figure.bbox.x1
    for k, one in enumerate(boxes):
        for other in boxes[k + 1 :]:
            assert not one.overlaps(other)


def test_the_flow_tells_its_boxes_in_words(made):
    drawing = draw_flow(FLOW, made["full"].left["set_aside.csv"], Words({}))
    assert "Read: 93 patients, 180 sites" in drawing.alt
    assert "Set aside: 3 patients, 4 sites" in drawing.alt
    assert "Lowest residual bone height: out of range (1 row)" in drawing.alt
    assert "rbh_min_mm" not in drawing.alt
    assert "Perforation known: yes or no: 90 patients, 1 site" in drawing.alt
    assert "Implant seen at a visit" not in drawing.alt  # nobody was: no box
    assert drawing.covers == "176 sites of 90 patients"


def test_a_box_for_rows_set_aside_stands_only_where_some_were():
    none = FLOW.assign(n_patients=FLOW["n_patients"].where(FLOW["stage"] != "set aside", 0))
    none = none.assign(n_sites=none["n_sites"].where(none["stage"] != "set aside", 0))
    alt = draw_flow(none, pd.DataFrame(), Words({})).alt
    assert "et aside" not in alt
    assert "Read" not in alt
    assert draw_flow(FLOW.iloc[:0], pd.DataFrame(), Words({})) is None


# ── characteristics ───────────────────────────────────────────────────────────────────────────────────────────────
@pytest.mark.parametrize("kind", ["full", "tiny", "one_level", "no_visits_no_log"])
def test_the_short_table_has_at_most_25_rows_and_8_columns(materials, kind):
    table = characteristics_table(materials[kind], Words({}))
    assert 3 < len(table.rows) <= MOST_ROWS
    assert len(table.columns) <= 8
    assert not any(re.search(r"[a-z]_[a-z]", cell) for row in table.rows for cell in row)


def test_it_is_cut_to_25_rows_where_levels_are_many(materials):
    many = described(2, lift_method=list("abcdefghijkl"), rbh_band=["<4", "4 to <6", "≥6"], bone_quality=["1", "4"])
    stretched = pd.concat([many.assign(column=name) for name in ("lift_method", "rbh_band", "rbh_mid_mm")])
    table = characteristics_table(with_tables(materials["full"], characteristics=stretched), Words({}))
    assert len(table.rows) <= MOST_ROWS


def test_more_than_six_groups_leave_all_alone_and_one_group_too(materials):
    def columns(n_groups):
        told = with_tables(materials["full"], characteristics=described(n_groups))
        return characteristics_table(told, told.words).columns

    assert columns(1) == ("", "All")
    assert columns(2) == ("", "All", "Protocol: P00", "Protocol: P01")
    assert len(columns(6)) == 8
    assert columns(7) == ("", "All")


def test_a_measurement_has_its_mean_or_its_median_and_what_is_missing_is_counted(materials):
    skewed = [0.0] * 9 + [1.0, 50.0, None]
    told = with_tables(materials["full"], characteristics=described(2, protrusion_mm=skewed))
    rows = {row[0].strip(): row[1:] for row in characteristics_table(told, told.words).rows}
    assert rows["Residual bone height, mm"][0] == "5.00 (0.83)"
    (name,) = [name for name in rows if name.startswith("Planned lift")]
    assert name == "Planned lift, mm, median [quartiles] (2 unknown)"
    assert rows[name][0] == "0.00 [0.00 to 0.00]"
    assert rows["Approach: guided"][0] == "12 (50.0%)"
    assert rows["Sites"][0] == "24"


def test_healing_is_not_unknown_where_there_is_no_implant(materials):
    placed, healed = ["same_day"] * 11 + ["none"], ["submerged"] * 10 + [None, None]
    told = with_tables(materials["full"], characteristics=described(2, placement=placed, healing=healed))
    names = [row[0].strip() for row in characteristics_table(told, told.words).rows]
    assert "Healing: submerged (2 without an implant, 2 unknown)" in names


def test_what_is_withheld_is_written_so(materials):
    table = described(2)
    hidden = table.assign(n=-1, n_known=-1, n_missing=-1, share=None, mean=None, sd=None, median=None, q1=None, q3=None)
    told = with_tables(materials["full"], characteristics=hidden)
    for content in (characteristics_table(told, told.words), full_table(told, told.words, "site", 0)):
        cells = [cell for row in content.rows for cell in row[1:] if cell]
        assert set(cells) == {"withheld"}
        assert "-1" not in str(content.rows)


def test_the_whole_table_is_split_into_parts_of_eight_columns(materials):
    told = with_tables(materials["full"], characteristics=described(14))
    parts = [full_table(told, told.words, "site", part) for part in range(PARTS)]
    assert [len(part.columns) for part in parts] == [2 + MOST_GROUPS, 2 + MOST_GROUPS, 4]
    assert {name for part in parts for name in part.columns[2:]} == {f"Protocol: P{k:02d}" for k in range(14)}
    few = with_tables(materials["full"], characteristics=described(2))
    assert full_table(few, few.words, "site", 1) is None


# ── supplement ────────────────────────────────────────────────────────────────────────────────────────────────────
def test_missing_values_are_of_those_where_there_was_something_to_record(materials):
    table = pd.DataFrame(
        [("fluid_ml", "all", 100, 70, 60, 0.7), ("sex", "all", 100, 0, 0, 0.0)],
        columns=["column", "subset", "n", "n_missing", "n_not_applicable", "share"],
    )
    content = missing_table(with_tables(materials["full"], missing=table), Words({}))
    assert content.rows == (("Fluid", "10 of 40 (25.0%)"),)
    assert content.note.endswith("1 measure looked at has no gap and is not listed.")


def test_refused_rows_are_told_by_names_of_columns(materials):
    content = set_aside_table(materials["full"], materials["full"].words)
    assert ("Sites", "Lowest residual bone height", "out of range", "1") in content.rows


def test_many_diameters_turn_the_grid_and_more_make_a_list(materials):
    def columns(n_lengths, n_diameters):
        sizes = [(5.0 + a, 3.0 + b, 2, 2) for a in range(n_lengths) for b in range(n_diameters)]
        names = ["implant_length_mm", "implant_diameter_mm", "n_sites", "n_patients"]
        told = with_tables(materials["full"], implant_sizes=pd.DataFrame(sizes, columns=names))
        return implant_sizes_table(told, told.words).columns

    assert columns(3, 2) == ("Length, mm", "Diameter 3 mm", "Diameter 4 mm", "All")
    assert columns(2, 9) == ("Diameter, mm", "Length 5 mm", "Length 6 mm", "All")
    assert columns(9, 9) == ("Length, mm", "Diameter, mm", "Sites")


def test_ladder_and_deviations_are_defined_where_there_is_a_log(materials):
    def texts(kind):
        blocks = list(what_was_studied(Writer(purpose("publication"), materials[kind])))
        return " ".join([*(b.text for b in blocks), *(item for b in blocks for item in getattr(b, "items", ()))])

    full, without_log = texts("full"), texts("no_visits_no_log")
    for word in ("A pass is", "The ladder is", "is a rung", "The planned lift is", *DEVIATIONS.values()):
        assert word in full
    assert "The planned lift is" in without_log
    assert "The ladder is" not in without_log
    assert "perforation: residual bone height and approach" in full


def odd(*entries: tuple[str, bool]) -> pd.DataFrame:
    """Entries by rule, and whether they are accepted."""
    rows = [("sites", "s.csv", k, "", rule, "", accepted) for k, (rule, accepted) in enumerate(entries)]
    return pd.DataFrame(rows, columns=["table", "file", "row", "column", "rule", "message", "accepted"])


def test_oddities_are_counted_by_rule_and_stay_in_the_house(materials):
    made = with_tables(
        materials["full"], oddities=odd(("torque_high", False), ("sites_equal", False), ("torque_high", True))
    )
    told = "3 entries of all tables are possible but odd, by 2 rules, 1 entry accepted in the plan; "
    assert oddities(made).startswith(told)
    assert told in " ".join(block.text for block in who_where_when(made))
    one = with_tables(made, oddities=odd(("torque_high", False)))
    assert oddities(one).startswith("1 entry of all tables is possible but odd, by 1 rule; ")
    assert oddities(with_tables(made, oddities=odd())).startswith("No entry of the tables is odd")
    content = oddities_table(made, made.words)
    assert [(row[0], *row[3:]) for row in content.rows] == [("Torque high", "2", "1"), ("Sites equal", "1", "0")]
    assert content.rows[0][1] == "Insertion torque above 80 N cm."
    outside = replace(made, withheld=WITHHOLDING)
    assert oddities(outside) == oddities(replace(one, withheld=WITHHOLDING))
    assert "odd" not in " ".join(block.text for block in who_where_when(outside))

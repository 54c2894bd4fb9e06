"""Each column is declared once: what geometry and models make and print is what the schemas say."""

from __future__ import annotations

import re
from dataclasses import fields

import pandas as pd
import pytest
import yaml
from studies import tables

from liftseries.base.plain_yaml import load_shipped_yaml, load_yaml
from liftseries.geometry.derived import SITE_COLUMNS, STEP_COLUMNS
from liftseries.geometry.deviations import DEVIATIONS, Deviations
from liftseries.models.series import describe
from liftseries.models.shared.cases import cases
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.study.schema import TABLES, columns_by_name, derived_schema, derived_terms, read_schema

SCHEMA, DERIVED = read_schema(), derived_schema()


def test_geometry_leaves_the_columns_that_are_declared():
    assert tuple(DERIVED["steps"].columns) == STEP_COLUMNS
    assert (*DERIVED["sites"].key, *DERIVED["sites"].columns) == SITE_COLUMNS


def test_geometry_judges_the_deviations_that_are_declared():
    declared = [name for name, column in DERIVED["sites"].columns.items() if column.is_deviation]
    assert declared == [field.name for field in fields(Deviations)]
    assert all(DERIVED["sites"].columns[name].type == "true_false" for name in declared)
    assert all(DERIVED["sites"].columns[name].judged_from for name in declared)


def test_bands_adherence_and_gains_are_made_as_declared():
    made = tables()
    derived = pd.DataFrame(
        {"site_id": made["sites"]["site_id"], "rbh_mid_mm": 4.0, "protrusion_mm": 3.0, "ended": None}
    )
    derived = derived.assign(**dict.fromkeys(DEVIATIONS, False))
    joined = cases(made["patients"], made["sites"], derived, [4], [3])
    assert set(DERIVED["bands"].columns) <= set(joined)
    for name, column in DERIVED["bands"].columns.items():
        assert column.cuts in joined, name
    assert set(DERIVED["adherence"].columns) <= set(joined)
    for table, name in (("sites", "ended"), ("adherence", "as_drilled")):
        assert tuple(joined[name].cat.categories) == DERIVED[table].columns[name].levels
    visits = made["visits"].assign(bone_height_mm=9.0)
    assert set(DERIVED["visits"].columns) <= set(gain_at_visits(visits, joined))


def test_a_subset_in_which_a_deviation_cannot_occur_is_one_of_its_column():
    for column in (column for column in DERIVED["sites"].columns.values() if column.cannot_occur):
        name, _, level = column.cannot_occur.partition("=")
        assert column.is_deviation
        assert level in SCHEMA["sites"].columns[name].levels


@pytest.mark.parametrize("place", ["described", "gaps_shown"])
@pytest.mark.parametrize(
    "listed",
    [[SCHEMA["patients"]], [SCHEMA["sites"], DERIVED["sites"], DERIVED["bands"]]],
    ids=["patients", "sites"],
)
def test_no_two_columns_of_a_list_have_the_same_place(place, listed):
    places = [getattr(column, place) for table in listed for column in table.columns.values()]
    taken = [number for number in places if number]
    assert len(taken) == len(set(taken))
    assert all(number > 0 for number in taken)


def test_no_other_table_gives_its_columns_a_place():
    others = [SCHEMA[name] for name in TABLES if name not in ("patients", "sites")]
    for table in (*others, DERIVED["steps"], DERIVED["visits"]):
        assert not any(column.described or column.gaps_shown for column in table.columns.values()), table.name


def test_only_what_is_worked_out_of_sites_and_visits_is_a_term_by_itself():
    assert derived_terms("steps") == derived_terms("bands") == []
    assert derived_terms("visits") == ["months"]


def test_bands_stand_beside_what_they_cut():
    listed = describe.SITE_COLUMNS
    assert {"rbh_band", "lift_band"} <= set(listed)
    for name, band in DERIVED["bands"].columns.items():
        assert listed.index(name) == listed.index(band.cuts) + 1


def test_labels_are_whole_numbers_with_levels():
    assert set(describe.LABEL_COLUMNS) == {"tooth", "bone_quality"}


def test_a_name_of_several_tables_is_the_first_ones():
    named = columns_by_name({"sites": {"flapless": {"type": "category", "levels": ["no", "yes"]}}})
    assert named["approach"] is SCHEMA["sites"].columns["approach"]
    assert named["months"] is DERIVED["visits"].columns["months"]
    assert named["flapless"].reference_level == "no"


@pytest.mark.parametrize(
    ("column", "level"),
    [
        ("approach", "freehand"), ("smoking", "never"), ("sex", "female"), ("graft", "none"),
        ("septum", "no"), ("lift_method", "fluid"), ("overdrilled", "no"), ("protocol", ""), ("rbh_band", ""),
    ],
)  # fmt: skip
def test_reference_levels_are_the_contracts(column, level):
    assert columns_by_name()[column].reference_level == level


def test_both_ways_of_reading_yaml_give_the_same():
    from liftseries.base.home import folder

    for path in folder("schemas").glob("*.yaml"):
        text = path.read_text(encoding="utf-8")
        if not re.search(r": [&*]\w", text):  # what people write has no anchors
            assert load_shipped_yaml(text) == load_yaml(text), path.name
    odd = "a: [no, yes, on, off, 2020-01-02, 012, 1e3, ~, true]\n"
    assert load_shipped_yaml(odd) == load_yaml(odd)
    for loader in (load_shipped_yaml, load_yaml):
        with pytest.raises(yaml.YAMLError, match="stands twice"):
            loader("a: 1\na: 2\n")

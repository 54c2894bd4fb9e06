"""The codebook: each column of a file by its one declaration."""

from __future__ import annotations

import pytest

from liftseries.forms.codebook import CODEBOOK, RESULTS, codebook, column_of
from liftseries.models.shared.results import KEY, RESULT_COLUMNS
from liftseries.study.schema import derived_schema, read_schema

SCHEMA = read_schema({"sites": {"flapless": {"type": "category", "levels": ["no", "yes"]}}})


def test_results_are_declared_as_they_are_written():
    assert tuple(RESULTS.columns) == RESULT_COLUMNS
    assert RESULTS.key == KEY


@pytest.mark.parametrize(
    ("file", "name", "declared"),
    [
        ("clean/visits.csv", "months", SCHEMA["visits"].columns["months"]),
        ("clean/sites.csv", "flapless", SCHEMA["sites"].columns["flapless"]),
        ("derived/visits.csv", "months", derived_schema()["visits"].columns["months"]),
        ("derived/implants.csv", "months", derived_schema()["implants"].columns["months"]),
        ("derived/implants.csv", "patient_id", SCHEMA["patients"].columns["patient_id"]),
        ("derived/steps.csv", "speed_rpm", SCHEMA["steps"].columns["speed_rpm"]),
        ("derived/steps.csv", "depth_mm", derived_schema()["steps"].columns["depth_mm"]),
    ],
)
def test_a_column_is_the_one_of_its_file(file, name, declared):
    assert column_of(file, name, SCHEMA) == declared


def test_a_column_that_nobody_declared_is_refused():
    with pytest.raises(KeyError):
        codebook(SCHEMA, {"derived/sites.csv": ["site_id", "made_up_mm"]})


def test_a_row_says_levels_how_it_is_worked_out_and_what_an_empty_cell_means():
    files = {"clean/sites.csv": ["flapless", "approach"], "derived/sites.csv": ["overdrill_mm"]}
    rows = codebook(SCHEMA, files)
    assert tuple(rows.columns) == tuple(CODEBOOK.columns)
    assert rows["levels"].tolist()[:3] == ["no | yes", "guided | freehand", ""]
    assert rows["when_empty"].tolist()[:3] == ["not recorded", "never", "no drilling log"]
    assert rows["meaning"][2].endswith("stopped short. Worked out: achieved_last_mm - rbh_max_mm.")
    assert rows["file"].tolist()[3:] == ["clean/codebook.csv"] * len(CODEBOOK.columns) + ["results.csv"] * len(
        RESULTS.columns
    )

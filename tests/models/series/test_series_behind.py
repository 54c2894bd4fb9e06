"""Who stands behind the flow and the characteristics of a series, by hand."""

from __future__ import annotations

import pandas as pd
import pytest
from fourteen_sites import SITES, patients, population, said

from liftseries.models.series.behind import characteristic, stage


def one(**columns):
    return next(pd.DataFrame({name: [value] for name, value in columns.items()}).itertuples())


@pytest.mark.parametrize(
    ("name", "sites"),
    [
        ("in the series", SITES),
        ("with a drilling log", "abcfghijklm"),
        ("perforation known", "abcdefghiklm"),
        ("with an implant", "abcdefghijlmn"),
        ("followed", "abcdefghilmn"),
    ],
)
def test_a_stage_of_the_flow_counts_who_reached_it(name, sites):
    counts = {"n_sites": sites, "n_patients": patients(sites)}
    assert said(stage(population(), one(stage=name))) == {"counts": counts, "seen_in": ("series",)}


def test_of_what_was_read_nobody_is_known():
    of = population()
    assert stage(of, one(stage="read")) is None
    assert characteristic(of, one(column="no such column", unit="site", level="", subset="all")) is None


@pytest.mark.parametrize(
    ("column", "unit", "level", "subset", "counts", "rests_on"),
    [
        ("torque_ncm", "site", "", "approach=guided", ("abe", "abe", "giln"), ["abe"]),
        ("isq", "site", "", "all", ("", "", SITES), [""]),
        ("ended", "site", "deeper", "approach=freehand", ("cm", "cdhjm", "f"), []),
        ("bone_quality", "site", "2", "all", ("bdfhjln", SITES, ""), []),
    ],
)
def test_a_characteristic_counts_a_level_and_what_is_known_and_missing(column, unit, level, subset, counts, rests_on):
    found = said(characteristic(population(), one(column=column, unit=unit, level=level, subset=subset)))
    group = {"all": SITES, "approach=guided": "abegiln", "approach=freehand": "cdfhjm"}[subset]
    place = {"group": group, "seen_in": (f"characteristics {column}",)}
    rests = {"rests_on": rests_on} if rests_on else {}
    assert found == {"counts": dict(zip(("n", "n_known", "n_missing"), counts, strict=True))} | place | rests


def test_what_is_of_a_patient_counts_patients():
    found = said(characteristic(population(), one(column="smoking", unit="patient", level="current", subset="all")))
    counts = {"n": patients("cdgj"), "n_known": patients("abcdefghijk"), "n_missing": patients("lmn")}
    assert found == {"counts": counts, "group": SITES, "seen_in": ("characteristics smoking",)}

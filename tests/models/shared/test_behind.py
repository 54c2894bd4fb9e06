"""Who stands behind a row, as the analyses of every outcome say it, by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from fourteen_sites import SITES, letters, model, patients, population, said

from liftseries.models.shared.behind import Row, behind_model, behind_share, groups
from liftseries.models.shared.population import Population


def members(sites: str) -> np.ndarray:
    return np.isin(list(SITES), list(sites))


def test_the_month_of_a_row_is_its_term():
    assert Row("survival.km", "all", "12", "corrected").month == 12.0


# ── models ──────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("terms", "coefficients"),
    [
        (["rbh_mid_mm", "smoking"], 3),
        (["centre", "months"], 2),  # of two levels; no column of the sites
        (["one_level", "rbh_mid_mm"], 2),
        (["no_level", "rbh_mid_mm"], 2),
    ],
)
def test_a_coefficient_needs_ten_patients_more_than_the_model_has_coefficients(terms, coefficients):
    of = population(one_level="same", no_level=pd.Categorical([None] * 14, []))
    found = behind_model(of, members("abcd"), members("ab"), iter(terms), "rbh_mid_mm")
    assert said(found) == model("abcd", "ab", 10 + 1 + coefficients)


def test_a_model_of_one_term_with_levels_gives_every_cell_away():
    """Of a to h: never a b f, former e h, current c d g; no other smokes at all."""
    of = population()
    found = said(behind_model(of, members("abcdefgh"), members("acef"), ["smoking"], "smoking[former]"))
    assert found["gives_away"] == ["abf", "eh", "cdg", "af", "e", "c"]
    without_events = said(behind_model(of, members("abcdefgh"), None, ["smoking"], "smoking[former]"))
    assert without_events["gives_away"] == ["abf", "eh", "cdg"]
    assert "n_events" not in without_events["counts"]
    for terms in (["smoking", "rbh_mid_mm"], ["rbh_mid_mm"], ["months"], []):
        assert "gives_away" not in said(behind_model(of, members("abcdefgh"), members("acef"), terms, "rbh_mid_mm"))


def test_what_a_row_rests_on_further_goes_before_the_nobody_of_an_intercept():
    found = behind_model(population(), members("abc"), None, ["rbh_mid_mm"], "(intercept)", rests_on=(members("ab"),))
    assert said(found)["rests_on"] == ["abc", "ab", ""]


def parts(used, events, terms, term, of=None):
    events = events if events is None else members(events)
    return [letters(part) for part in groups(of or population(), members(used), events, terms, term)]


def test_a_level_rests_on_its_own_sites_on_the_others_and_on_the_reference():
    """Former e h k, current c d g j, and never a b f i, with which they are compared."""
    former = parts("abcdefghijk", "acef", ["smoking"], "smoking[former]")
    assert former == ["acef", "bdghijk", "e", "acf", "af", "hk", "bdgij", "bi"]
    assert parts("abcdefgh", None, ["smoking"], "smoking[former]") == ["abcdefgh", "eh", "abcdfg", "abf"]


def test_where_nobody_used_is_of_the_reference_the_first_level_that_occurs_is_it():
    assert parts("cdegh", "ce", ["smoking"], "smoking[current]") == ["ce", "dgh", "c", "e", "e", "dg", "h", "h"]


def test_a_level_without_a_known_site_rests_on_what_there_is():
    """Of imputed values the level of nobody used may be known; and of a level that nobody has nobody is."""
    assert parts("lmn", "l", ["smoking"], "smoking[current]") == ["l", "mn", "", "", "", ""]
    assert parts("abc", "a", ["smoking"], "smoking[other]") == ["a", "bc", "a", "a", "bc", "b"]


def test_what_is_no_level_of_a_term_rests_on_events_and_the_rest():
    for term in ("rbh_mid_mm", "smoking", "smoking[current]", "months[1]"):
        assert parts("abcd", "ab", ["rbh_mid_mm", "months"], term) == ["ab", "cd"]


# ── shares ──────────────────────────────────────────────────────────────────────────────────────────────────


def share_of(n_patients: int, n_events: int) -> dict:
    """What is given away by a share of sites, two of each patient, of whom the first few have events at both."""
    patient = np.repeat([f"p{k:02d}" for k in range(n_patients)], 2)
    cases = pd.DataFrame({"site_id": np.arange(len(patient)).astype(str), "patient_id": patient})
    none = pd.DataFrame({"site_id": []})
    sites, events = np.ones(len(patient), bool), np.arange(len(patient)) < 2 * n_events
    found = behind_share(Population({}, cases, none, none), sites, events)
    return {
        "away": [(one.unit, int(one.members.sum())) for one in found.gives_away],
        "interval": [(one.unit, int(one.members.sum())) for one in found.by_interval],
        "share": found.share,
    }


@pytest.mark.parametrize(
    ("n_patients", "n_events", "by_interval"),
    [(59, 20, True), (60, 20, False), (60, 1, True), (60, 2, False), (60, 58, False), (60, 59, True), (60, 60, True)],
)
def test_the_interval_of_a_share_tells_of_few_patients_and_of_a_bound_how_many(n_patients, n_events, by_interval):
    """Below sixty; and where at most one patient has an event, or a site without."""
    told = share_of(n_patients, n_events)
    assert told["away"] == [("sites", 2 * n_patients), ("sites", 2 * n_events)]
    assert told["interval"] == ([("patients", 2 * n_patients)] if by_interval else [])
    assert told["share"]


def test_a_share_of_nought_gives_away_that_there_is_none_and_not_of_how_many():
    assert share_of(60, 0) == {"away": [("sites", 0)], "interval": [("patients", 120)], "share": False}


def test_what_a_share_counts():
    found = said(behind_share(population(), members("abc"), members("a")))
    assert found["counts"] == {"n_sites": "abc", "n_patients": patients("abc"), "n_events": "a"}
    assert said(behind_share(population(), members("abc"), members("")))["counts"]["n_events"] == ""

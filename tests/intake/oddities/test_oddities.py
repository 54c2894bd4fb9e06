"""Oddities: each rule with a planted case and its innocent neighbour; the list, its order, what the plan accepts."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from even_series import both, cell, even_series, keys_told, listed, told
from planted_oddities import PLANTED

from liftseries.intake.oddities.copies import equal_rows
from liftseries.intake.oddities.labels import fold, groups_alike
from liftseries.intake.oddities.listed import FINDERS
from liftseries.study.oddities import oddity_rules

CLOSING = "closing_not_set"  # of the plan, not of a table


def keys_of(rule: str, tables, data_until="2025-12") -> set[str]:
    """Of a visit the site alone, where the planted key ends in a blank."""
    return {key for name, key in told(tables, data_until) if name == rule}


def fits(found: set[str], expected: set[str]) -> bool:
    loose = {key for key in expected if key.endswith(" ")}
    return len(found) == len(expected) and all(
        key in expected or any(key.startswith(start) for start in loose) for key in found
    )


def test_every_rule_is_declared_once_has_its_arithmetic_and_a_planted_case():
    rules = oddity_rules()
    assert {*PLANTED, CLOSING} == set(rules)
    assert set(FINDERS) == {name for name, rule in rules.items() if not rule.where}
    assert all(rule.reason and rule.threshold and rule.source for rule in rules.values())


def test_an_even_series_is_told_of_nothing():
    assert told(even_series()) == set()


@pytest.mark.parametrize("rule", PLANTED)
def test_planted_case_in_any_order_of_rows_and_innocent_neighbour(rule):
    odd, expected, even = PLANTED[rule]
    tables = odd(even_series())
    found = listed(tables)
    keys = {key for name, key in keys_told(found) if name == rule}
    assert fits(keys, expected), keys
    assert keys_of(rule, even(even_series())) == set()
    mixed = listed({name: table.sample(frac=1, random_state=3, ignore_index=True) for name, table in tables.items()})
    assert keys_told(mixed) == keys_told(found)
    assert sorted(mixed["message"]) == sorted(found["message"])


def test_without_a_closing_one_oddity_says_so_and_nothing_lies_beyond():
    tables = cell("sites", "s59", "surgery_year", 2090)(even_series())
    assert {rule for rule, _ in told(tables, data_until="")} >= {CLOSING}
    assert keys_of("surgery_beyond_closing", tables, data_until="") == set()
    assert keys_of(CLOSING, tables) == set()


@pytest.mark.parametrize(
    ("labels", "groups"),
    [
        (["Harbour", "harbour", "harbor"], [{"Harbour", "harbour", "harbor"}]),
        (["OP 01", "op1", "OP2"], [{"OP 01", "op1"}]),
        (["Centre A", "Centre B", "Clinic I", "Clinic II"], []),
        (["1-11", "11-1"], []),  # the mark parts two numbers
        (["Linden", "Minden", "Dune", "Dunes"], []),  # another letter, and words too short to tell
        (["Lindne", "Linden"], [{"Lindne", "Linden"}]),
    ],
)
def test_labels_alike(labels, groups):
    assert sorted(map(sorted, groups_alike(labels, 5))) == sorted(map(sorted, groups))


@pytest.mark.parametrize(("label", "form"), [("Ｏp-010", "op10"), ("0", "0"), ("00", "0"), ("", ""), ("==", "")])
def test_fold(label, form):
    assert fold(label) == form


def test_equal_rows_are_those_of_all_pairs():
    rng = np.random.default_rng(2)
    values = rng.integers(0, 4, (80, 7)).astype(float)
    values[rng.random(values.shape) < 0.2] = np.nan
    for fewest in (4, 5, 6):
        same = (values[:, None] == values[None]).sum(axis=2) >= fewest
        np.fill_diagonal(same, False)
        assert equal_rows(values, fewest).tolist() == np.flatnonzero(same.any(axis=1)).tolist()


def test_coarse_numbers_of_a_large_series_are_not_copies():
    """Of 4000 sites with five columns of ten values each, some 80 pairs agree in all by chance."""
    from even_series import _checked

    rng = np.random.default_rng(5)
    names = ["rbh_min_mm", "rbh_max_mm", "membrane_mm", "torque_ncm", "isq"]
    many = pd.DataFrame({"site_id": [f"c{k}" for k in range(4000)], "patient_id": "p00"})
    many[names] = rng.integers(1, 11, (4000, 5))
    tables = even_series() | {"sites": _checked("sites", many)}
    assert len(equal_rows(many[names].to_numpy(float), 5)) > 20
    assert keys_of("sites_equal", tables) == set()


def test_a_patient_of_an_operator_of_the_other_centre():
    tables = cell("sites", "s02", "operator", "os")(even_series())
    assert keys_of("patient_in_two_centres", tables) == {"p02"}
    # An operator at work in both centres tells nothing.
    tables = both(*(cell("sites", f"s{k:02d}", "operator", "os") for k in (2, 4)))(even_series())
    assert keys_of("patient_in_two_centres", tables) == set()


def test_ids_alike_in_a_patient_are_one_site():
    tables = both(
        cell("sites", "s01", "patient_id", "p00"), cell("sites", "s01", "tooth", 26),
        cell("sites", "s01", "site_id", "S 0"),
    )(even_series())  # fmt: skip
    assert keys_of("more_than_one_implant", tables) == {"s00", "S 0"}


def test_years_are_looked_for_in_each_file_and_centre():
    """One file of both centres; only South's visits are in years."""
    tables = PLANTED["months_typed_in_years"].odd(even_series())
    south = listed(tables)
    assert south.loc[south["rule"].eq("months_typed_in_years"), "message"].str.contains("all 90 visits").all()
    apart = listed(tables, file=lambda name, table: np.where(np.arange(len(table)) % 12 < 6, "a.csv", "b.csv"))
    assert apart["rule"].eq("months_typed_in_years").sum() == 2


# ── the list ────────────────────────────────────────────────────────────────────────────────────


def accepting(rule: str, keys) -> list[dict]:
    return [{"rule": rule, "keys": keys, "why": "looked up", "by": "dm1", "date": "2025-03-04"}]


@pytest.mark.parametrize(
    ("keys", "accepted"),
    [(["s01"], [True, False]), (["s01", "s03"], [True, True]), ("all", [True, True]), (["all"], [False, False])],
)
def test_accepted_by_key_or_as_a_whole(keys, accepted):
    tables = both(cell("sites", "s01", "torque_ncm", 90), cell("sites", "s03", "torque_ncm", 95))(even_series())
    assert listed(tables, accepted=accepting("torque_high", keys))["accepted"].tolist() == accepted
    assert not listed(tables, accepted=accepting("sites_equal", "all"))["accepted"].any()


def test_a_visit_is_accepted_by_its_site_or_by_itself():
    tables = cell("visits", "s59", "months", 48, 2)(even_series())
    for keys, accepted in ((["s59"], True), (["s59 48"], True), (["s59 12"], False)):
        assert listed(tables, accepted=accepting("visit_beyond_closing", keys))["accepted"].tolist() == [accepted]


def test_a_row_is_told_with_its_place_and_a_centre_at_one_row():
    tables = PLANTED["lowest_is_highest"].odd(even_series())
    (one,) = listed(tables).to_dict("records")
    assert (one["table"], one["file"], one["row"], one["column"]) == ("sites", "sites", 2, "rbh_max_mm")
    assert one["message"] == "at 15 of the 30 sites of this row's centre the lowest residual height is the highest."


def test_messages_quote_no_text():
    hostile = "=HYPERLINK(secret)"
    tables = both(*(planted.odd for rule, planted in PLANTED.items() if rule != "placed_and_never_seen"))(even_series())
    for table, column in (("patients", "centre"), ("sites", "operator"), ("sites", "protocol")):
        tables[table] = tables[table].assign(**{column: hostile + tables[table][column].astype(str)})
    assert not listed(tables)["message"].str.contains("secret|HYPERLINK", regex=True).any()


@pytest.mark.parametrize("kept", [0, 1])
def test_tables_of_no_row_and_of_one(kept):
    tables = {name: table.iloc[:kept] for name, table in even_series().items()}
    assert told(tables) == set()
    assert told(tables, data_until="") == {(CLOSING, "data_until")}


def test_all_cells_missing():
    tables = {
        name: table.assign(**{column: None for column in table if column not in ("site_id", "patient_id")}).astype(
            table.dtypes.to_dict()
        )
        for name, table in even_series().items()
    }
    # Rows without a placement are same_day; none of them can be dated.
    assert told(tables) == set()

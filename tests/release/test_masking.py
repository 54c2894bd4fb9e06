"""What may leave the house: every printed count is known to the ledger, and what tells of few patients goes."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from release_series import SMALLEST_CELL, made_of

from liftseries.disclosure.suppression import Protection
from liftseries.models.questions import tables_that_may_leave
from liftseries.release import masking
from liftseries.release.ledger import Ledger
from liftseries.release.masking import ledger_of, protection_of, rounded, tables_of
from liftseries.report.kit.numbers import WITHHELD, WITHHELD_COUNT

# Printed by the report, but no set of sites of the series: what was read before it, and how many measurements.
WITHOUT_ENTRY = {("flow", "read"), ("flow", "set aside"), ("gain_variances", "n_visits")}
NOT_COUNTS = {("life_table", "n_effective")}  # goes with the counts it is worked out from
RULES = tables_that_may_leave()


def test_every_count_column_of_every_table_is_named(whole):
    """A table that gains a column of counts must not print it unseen."""
    for name, table in tables_of(whole).items():
        columns = {column for column in table if column == "n" or column.startswith("n_")}
        named = set(RULES[name].counts) | {column for table, column in NOT_COUNTS if table == name}
        assert columns <= named, name


def test_every_table_of_the_report_has_rules_or_stays_out(whole, masked):
    for name, table in masked.material.tables.items():
        if name not in RULES:
            assert table.empty, name


def test_every_printed_count_has_an_entry_that_comes_to_its_value(whole, population):
    ledger = ledger_of(whole, population)
    lacking = {
        (name, table["stage"].iloc[row] if name == "flow" else column)
        for name, table in tables_of(whole).items()
        for column in RULES[name].counts
        for row in range(len(table))
        if pd.notna(table[column].iloc[row]) and (name, row, column) not in ledger.cells
    }
    lacking -= {("missing", "n_not_applicable")}  # not known from the tables of cases: withheld
    assert lacking <= WITHOUT_ENTRY


def test_a_count_that_is_not_what_the_ledger_says_is_withheld(made, monkeypatch):
    """For that alone: the protection withholds nothing here."""
    monkeypatch.setattr(masking, "protection_of", lambda *of: Protection(frozenset(), frozenset(), pd.DataFrame()))
    whole = made.whole
    rates = whole.results.assign(n_sites=whole.results["n_sites"] + 1)
    wrong = masking.mask(
        masking.replace(whole, tables={**whole.tables, "results": rates}), made.population, SMALLEST_CELL
    )
    assert wrong.material.results["n_sites"].dropna().eq(WITHHELD_COUNT).all()


def test_no_count_of_few_patients_is_left(whole, masked):
    """Worked out anew from the sets: a printed count of few patients is one of values not on record."""
    for (name, row, column), entry in masked.ledger.cells.items():
        counted = masked.ledger.entries[entry]
        shown = masked.material.table(name)[column].iloc[row]
        if 1 <= counted.n_patients < SMALLEST_CELL and not counted.recorded:
            assert shown == WITHHELD_COUNT, (name, row, column)
        elif pd.notna(shown) and shown != WITHHELD_COUNT:
            assert shown == counted.value


def test_what_is_worked_out_from_a_withheld_count_goes_with_it(masked):
    for name, with_rules in RULES.items():
        table = masked.material.table(name)
        for rule in with_rules.rules:
            for column in rule.counts:
                without = table[column].eq(WITHHELD_COUNT)
                assert table.loc[without, list(rule.numbers)].isna().all(axis=None), (name, column)


def test_an_estimate_that_gives_a_withheld_count_away_is_withheld(masked, whole):
    gone = masked.ledger.withheld(masked.protection.withheld)
    results = masked.material.results
    for (name, row), given in masked.ledger.given_away.items():
        if name == "results" and given & gone:
            assert results.loc[row, ["estimate", "std_error", "conf_low", "conf_high", "p_value", "df"]].isna().all()
            assert results.loc[row, "problem"] == WITHHELD


def test_nothing_but_what_is_withheld_changes(whole, masked):
    """What is shown is the number of the run, to three digits; of a ratio to those of the ratio that is printed."""
    shown = masked.material.results["estimate"].notna()
    told, true = (table.loc[shown, "estimate"].to_numpy(float) for table in (masked.material.results, whole.results))
    is_log = whole.results.loc[shown, "scale"].isin(["log_odds", "log_hazard", "log_time"]).to_numpy()
    assert told[~is_log] == pytest.approx(true[~is_log], rel=0.005)
    assert np.exp(told[is_log]) == pytest.approx(np.exp(true[is_log]), rel=0.005)


def test_files_and_single_records_stay_in_the_house(masked):
    material = masked.material
    assert "sites_of_a_person" not in str(material.inputs) + str(material.plan)
    assert material.plan["tables"]["sites"] == ["not told"]
    assert material.table("set_aside").empty
    assert material.table("ladder_cases").empty


def test_curves_are_told_at_the_months_of_their_numbers_alone(masked):
    curves = masked.material.table("survival_curves")
    told = set(curves.loc[curves["survival"].notna(), "months"])
    assert told <= set(masked.material.table("survival_at_risk")["months"])


def test_a_series_of_few_patients_shows_no_count(tiny_ledger):
    protection = protection_of(tiny_ledger, SMALLEST_CELL)
    assert isinstance(protection, Protection)
    assert tiny_ledger.withheld(protection.withheld) == set(tiny_ledger.seen_in)


def test_rounding_keeps_three_digits_and_what_is_no_number():
    values = pd.Series([0.123456, 98765.0, -0.00012345, np.nan, np.inf, 0.0])
    expected = pd.Series([0.123, 98800.0, -0.000123, np.nan, np.inf, 0.0])
    pd.testing.assert_series_equal(rounded(values), expected)


def test_two_counts_that_differ_by_few_patients_are_seen(population):
    """All sites, and all but those of one patient: nobody prints the one patient, anybody can subtract."""
    ledger = Ledger(population)
    if population.n_sites == 0:
        pytest.skip("no patient to take off")
    but_one = population.patients != 0
    ledger.cell(("flow", 0), "n_sites", ["series"], population.everyone)
    ledger.cell(("flow", 1), "n_sites", ["series"], but_one)
    unprinted = [count for count in ledger.counts(SMALLEST_CELL) if not count.published]
    taken_off = [count.members.tolist() for count in unprinted]
    all_but = (~but_one).tolist()
    # Where the whole series is that small, each part of it is a small count of its own already.
    assert all_but in taken_off or population.n_patients(but_one) == 0


def test_words_of_a_row_tell_no_count_that_it_does_not_show(masked):
    counted = re.compile(r"(\d+) (?:event|failure|implant|perforation|patient|site|with a failure)")
    for row in masked.material.results.itertuples():
        told = {int(number) for number in counted.findall(f"{row.method}; {row.problem}")}
        assert told <= {row.n_sites, row.n_patients, row.n_events}, row


def test_in_a_series_of_two_patients_no_number_stands_beside_a_withheld_count():
    results = made_of("tiny").masked.material.results
    gone = results["n_events"].eq(WITHHELD_COUNT)
    assert gone.any()
    assert results.loc[gone, ["estimate", "std_error", "conf_low", "conf_high", "p_value", "df"]].isna().all(axis=None)

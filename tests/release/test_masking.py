"""What may leave the house: every printed count is known to the ledger, and what tells of few patients goes."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from release_series import SMALLEST_CELL, made_of

from liftseries.base.remarks import names_in
from liftseries.disclosure.declared import Counted
from liftseries.models.questions import tables_that_may_leave
from liftseries.release import masking
from liftseries.release.digits import rounded
from liftseries.release.entries import is_core
from liftseries.release.ledger import Ledger
from liftseries.release.masking import tables_of
from liftseries.report.kit.numbers import WITHHELD_COUNT, p_value

# Printed by the report, but no set of sites of the series: what was read before it, and how many measurements.
WITHOUT_ENTRY = {("flow", "read"), ("flow", "set aside")}
RULES = tables_that_may_leave()


def test_every_count_column_of_every_table_is_named(whole):
    """A table that gains a column of counts must not print it unseen."""
    for name, table in tables_of(whole).items():
        columns = {column for column in table if column == "n" or column.startswith("n_")}
        assert columns <= set(RULES[name].counts), name


def test_every_table_of_the_report_has_rules_or_stays_out(whole, masked):
    for name, table in masked.material.tables.items():
        if name not in RULES:
            assert table.empty, name


def test_every_count_of_the_core_has_an_entry_that_comes_to_its_value(masked):
    lacking = {
        (name, table["stage"].iloc[row] if name == "flow" else column)
        for name, table in tables_of(masked.whole).items()
        for column in RULES[name].counts
        for row in range(len(table))
        if RULES[name].core
        and (name != "results" or is_core(table.iloc[row]))
        and pd.notna(table[column].iloc[row])
        and (name, row, column) not in masked.ledger.cells
    }
    assert lacking <= WITHOUT_ENTRY


def test_who_is_said_to_stand_behind_a_row_comes_to_its_counts_and_share(masked, population):
    """Off the core, too, where no count leaves: what a row rests on decides whether its numbers do."""

    def n(counted):
        return population.n_patients(counted.members) if counted.unit == "patients" else int(counted.members.sum())

    for name, rows in masked.behind.items():
        table = masked.whole.table(name)
        for row, behind in enumerate(rows):
            if behind is None:
                continue
            printed = table.iloc[row]
            for column, counted in behind.counts.items():
                assert pd.isna(printed[column]) or printed[column] == n(counted), (name, row, column)
            if behind.share and pd.notna(printed["estimate"]):
                of_all, events = map(n, behind.gives_away)
                assert printed["estimate"] == pytest.approx(events / of_all), (name, row)


def test_off_the_core_no_count_no_standard_error_and_no_degrees_of_freedom_leave(masked):
    results = masked.material.results
    off = ~results.apply(is_core, axis=1).astype(bool) if len(results) else []
    assert not results.loc[off, ["n_sites", "n_patients", "n_events"]].ge(0).any(axis=None)
    assert results[["std_error", "df"]].isna().all(axis=None)


def test_a_count_that_is_not_what_the_ledger_says_is_withheld(made):
    whole = made.whole
    rates = whole.results.assign(n_sites=whole.results["n_sites"] + 1)
    other = masking.replace(whole, tables={**whole.tables, "results": rates})
    wrong = masking.mask(other, made.population, SMALLEST_CELL)
    assert wrong.material.results["n_sites"].dropna().lt(0).all()


def test_no_count_of_few_patients_is_left(masked):
    """Worked out anew from the sets."""
    for (name, row, column), entry in masked.ledger.cells.items():
        counted = masked.ledger.entries[entry]
        shown = masked.material.table(name)[column].iloc[row]
        if 1 <= counted.n_patients < SMALLEST_CELL:
            assert shown in (WITHHELD_COUNT, -SMALLEST_CELL), (name, row, column)
        elif pd.notna(shown) and shown >= 0:
            assert shown == counted.value


def test_what_is_worked_out_from_a_withheld_count_goes_with_it(masked):
    for name, with_rules in RULES.items():
        table = masked.material.table(name)
        for rule in with_rules.rules:
            for column in rule.counts:
                without = table[column].lt(0)
                assert table.loc[without, list(rule.numbers)].isna().all(axis=None), (name, column)


def test_an_estimate_that_gives_a_count_away_that_is_not_told_is_withheld(masked):
    gone = masked.ledger.withheld(masked.protection.withheld)
    results = masked.material.results
    for row, behind in enumerate(masked.behind["results"]):
        if ("results", row) in masked.ledger.coarse:
            continue
        if behind and not all(masked.ledger.is_told(counted, gone) for counted in behind.gives_away):
            assert results.loc[row, ["estimate", "p_value"]].isna().all()
            has_bound = "bound_of_few" in names_in(results.loc[row, "note"])  # worked out from what is printed
            assert results.loc[row, ["conf_low", "conf_high"]].isna().all() != has_bound


def test_an_interval_that_gives_patients_away_that_are_not_told_goes_and_leaves_its_share(masked):
    gone = masked.ledger.withheld(masked.protection.withheld)
    results = masked.material.results
    for row, behind in enumerate(masked.behind["results"]):
        if behind and not all(masked.ledger.is_told(counted, gone) for counted in behind.by_interval):
            has_bound = "bound_of_few" in names_in(results.loc[row, "note"])
            assert results.loc[row, ["conf_low", "conf_high"]].isna().all() != has_bound


def test_nothing_but_what_is_withheld_changes(masked):
    """What is shown is the number of the run, to the digits that are printed."""
    shown = masked.material.results["estimate"].notna()
    shown &= np.array([("results", row) not in masked.ledger.coarse for row in range(len(shown))])
    told, true = (
        table.loc[shown, "estimate"].to_numpy(float) for table in (masked.material.results, masked.whole.results)
    )
    is_log = masked.whole.results.loc[shown, "scale"].isin(["log_odds", "log_hazard", "log_time"]).to_numpy()
    assert told[~is_log] == pytest.approx(true[~is_log], abs=0.0051)
    assert np.exp(told[is_log]) == pytest.approx(np.exp(true[is_log]), abs=0.0051, rel=0.005)


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


def test_a_share_is_rounded_once_and_never_to_none_or_all():
    values = pd.Series([0.08049, 0.0001, 0.9998, 0.0, 1.0, np.nan])
    expected = pd.Series([0.08, 0.0004, 0.9996, 0.0, 1.0, np.nan])
    pd.testing.assert_series_equal(rounded(values, "estimate", pd.Series(["risk"] * 6)), expected, check_names=False)


def test_a_ratio_and_a_p_have_two_decimals():
    logs = rounded(pd.Series([np.log(1.23456), np.log(0.001)]), "estimate", pd.Series(["log_odds"] * 2))
    assert np.exp(logs).tolist() == pytest.approx([1.23, 0.004])
    assert [p_value(p) for p in rounded(pd.Series([0.034, 0.0004, 0.999]), "p_value")] == ["0.03", "<0.01", "0.99"]


def test_two_counts_that_differ_by_few_patients_are_seen(population):
    """All sites, and all but those of one patient: nobody prints the one patient, anybody can subtract."""
    ledger = Ledger(population)
    if population.n_sites == 0:
        pytest.skip("no patient to take off")
    but_one = population.patients != 0
    ledger.add(Counted(population.everyone), ["series"])
    ledger.add(Counted(but_one), ["series"])
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


def test_that_none_or_all_of_a_level_failed_is_not_told(masked):
    """`no implant with smoking former has failed` tells it of each former smoker."""
    words = " ".join([*masked.material.results["problem"], *masked.material.results["note"]])
    assert not re.search(r"\bno (implant|site) with \w+|every (implant|site) with \w+|without overlap", words)


def test_in_a_series_of_two_patients_no_number_is_told():
    results = made_of("tiny").masked.material.results
    assert results[["estimate", "conf_low", "conf_high", "p_value"]].isna().all(axis=None)
    assert not results[["n_sites", "n_patients", "n_events"]].gt(0).any(axis=None)

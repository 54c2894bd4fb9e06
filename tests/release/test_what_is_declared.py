"""What is not declared does not leave: an analysis, a table, a column of counts, rows by a column nobody named."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import pandas as pd
import pytest
from release_series import SMALLEST_CELL, made_series_of

from liftseries.base.named import function_named
from liftseries.models import questions
from liftseries.models.questions import (
    ANALYSES,
    QUESTIONS,
    RESULTS,
    tables_that_may_leave,
)
from liftseries.models.shared.question import Analysis
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.release.leaving import leaving
from liftseries.release.masking import mask
from liftseries.report.kit.numbers import WITHHELD_COUNT

NUMBERS = ["estimate", "std_error", "conf_low", "conf_high", "p_value", "df"]
BY_OPERATOR = ["operator=A", "operator=B"]


@pytest.fixture(scope="module")
def forty():
    """A series of which some counts are shown."""
    return made_series_of(n_patients=40, seed=8, visits=False, log=False)


def with_results(material, *rows: pd.DataFrame):
    """Further rows of results.csv."""
    return replace(material, tables={**material.tables, "results": pd.concat([material.results, *rows])})


# ── what is declared ────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("analysis", ANALYSES.values(), ids=ANALYSES)
def test_every_analysis_names_who_stands_behind_it_or_the_row_that_does(analysis):
    assert bool(analysis.behind) != analysis.of_row
    assert not analysis.behind or callable(function_named(analysis.behind))
    assert set(analysis.core) <= set(analysis.methods)


@pytest.mark.parametrize(("name", "rules"), tables_that_may_leave().items(), ids=tables_that_may_leave())
def test_every_function_that_a_table_names_is_there(name, rules):
    for named in filter(None, (rules.behind, rules.coarsened)):
        assert callable(function_named(named)), named
    if rules.counts and name != "results":  # there each analysis says so
        assert rules.behind


def test_every_column_of_counts_of_a_table_that_leaves_is_declared():
    """A table that gains a column of counts must not print it unseen; columns as the questions declare them."""
    leaves = {table.name: table for question in QUESTIONS for table in question.leaves if table.disclosure}
    assert len(leaves) >= 8
    for name, table in leaves.items():
        counts = {column for column in table.columns.split() if column == "n" or column.startswith("n_")}
        assert counts <= set(table.disclosure.counts), name


def test_tables_of_curves_by_step_and_of_single_records_are_not_declared():
    undeclared = {table.name for question in QUESTIONS for table in question.leaves if not table.disclosure}
    assert undeclared >= {"survival_ph_residuals", "failed_implants"}


def test_declarations_are_read_without_a_library():
    """The workflow reads them before it computes anything."""
    code = "import sys, liftseries.models.questions; print(*{'numpy', 'pandas', 'scipy'} & {*sys.modules})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.split() == []


# ── what is not ─────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("declared", [None, Analysis("perforation.made_up", "nobody stands behind it")])
def test_an_analysis_that_does_not_say_who_stands_behind_it_keeps_no_number(forty, monkeypatch, declared):
    """Its rows repeat those of another, whose numbers leave."""
    if declared:
        monkeypatch.setitem(ANALYSES, declared.name, declared)
    rows = forty.whole.rows("perforation.gee")
    effects = forty.whole.rows(DESIGN_EFFECT)
    effects = effects[effects["term"].str.startswith("perforation.gee ")]
    made_up = rows.assign(analysis="perforation.made_up")
    of_made_up = effects.assign(term=effects["term"].str.replace("gee", "made_up"))
    masked = mask(with_results(forty.whole, made_up, of_made_up), forty.population, SMALLEST_CELL)
    assert masked.material.rows("perforation.gee")["estimate"].notna().any()
    new = masked.material.results.iloc[-len(made_up) - len(of_made_up) :]
    assert set(new["analysis"]) == {"perforation.made_up", DESIGN_EFFECT}
    assert new[NUMBERS].isna().all(axis=None)
    assert new[list(RESULTS.counts)].isin([WITHHELD_COUNT]).all(axis=None)


def test_a_table_that_is_not_declared_does_not_leave(forty):
    table = pd.DataFrame({"stage": ["made up"], "n_sites": [3]})
    material = replace(forty.whole, tables={**forty.whole.tables, "made_up": table})
    assert mask(material, forty.population, SMALLEST_CELL).material.table("made_up").empty


def test_a_column_of_numbers_that_is_not_declared_is_emptied(forty):
    described = forty.whole.table("characteristics").assign(n_made_up=3, made_up_mm=1.5, made_up="a word")
    material = replace(forty.whole, tables={**forty.whole.tables, "characteristics": described})
    left = mask(material, forty.population, SMALLEST_CELL).material.table("characteristics")
    assert len(left) == len(described) > 0
    assert left[["n_made_up", "made_up_mm"]].isna().all(axis=None)
    assert left["made_up"].eq("a word").all()


def test_every_column_of_numbers_of_a_run_is_declared(made):
    """Else the bundle would lack it without a word."""
    for name, rules in tables_that_may_leave().items():
        kept_in = {"std_error", "df"} if name == "results" else set()  # of every row
        assert set(made.whole.table(name).select_dtypes("number")) - kept_in <= set(rules.numbers), name


def test_a_table_does_not_leave_where_its_declaration_goes(forty, monkeypatch):
    without = tuple(
        replace(question, leaves=tuple(replace(table, disclosure=None) for table in question.leaves))
        for question in QUESTIONS
    )
    monkeypatch.setattr(questions, "QUESTIONS", without)
    left = leaving(forty.whole, forty.population.cases)
    assert {name for name, table in left.tables.items() if len(table)} == {"results"}


# ── an operator ─────────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(scope="module")
def by_operator(forty):
    """The series with operators in its cases, and rows of the rates, of a model's terms and of a table by operator."""
    cases = forty.population.cases
    operator = pd.Series(["A", "B"] * len(cases)).iloc[: len(cases)].set_axis(cases.index).astype(object)
    whole = forty.whole
    rates = pd.concat([whole.rows("perforation.rate", "all").assign(subset=subset) for subset in BY_OPERATOR])
    coefficient = whole.rows("perforation.gee").iloc[[0]]
    of_terms = pd.concat(
        [
            coefficient.assign(term="operator[B]"),
            coefficient.assign(analysis=DESIGN_EFFECT, term="perforation.gee operator[B]"),
            coefficient.assign(analysis="perforation.risk_difference", term="operator: A to B"),
        ]
    )
    described = whole.table("characteristics")
    described = pd.concat([described, described[described["subset"].eq("all")].assign(subset="operator=A")])
    material = with_results(whole, rates, of_terms)
    tables = {**material.tables, "characteristics": described}
    population = replace(forty.population, cases=cases.assign(operator=operator))
    return replace(material, tables=tables), population


def test_what_is_by_operator_does_not_leave(by_operator, forty):
    material, population = by_operator
    left, before = leaving(material, population.cases), leaving(forty.whole, forty.population.cases)
    for name in ("results", "characteristics"):
        pd.testing.assert_frame_equal(left.table(name), before.table(name), check_dtype=False)
        assert len(left.table(name)) < len(material.table(name))
        assert "operator" not in left.table(name).to_csv()


def test_what_is_by_operator_leaves_where_it_is_declared(by_operator, monkeypatch):
    material, population = by_operator
    rate = ANALYSES["perforation.rate"]
    monkeypatch.setitem(ANALYSES, rate.name, replace(rate, leave_by=(*rate.leave_by, "operator")))
    masked = mask(material, population, SMALLEST_CELL)
    told = masked.material.results
    assert set(told.loc[told["subset"].str.startswith("operator"), "subset"]) == set(BY_OPERATOR)
    assert not told["term"].str.contains("operator").any()

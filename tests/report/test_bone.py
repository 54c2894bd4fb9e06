"""The chapter on bone: it prints the headline rows, and nothing of fewer than five measurements."""

from __future__ import annotations

import pandas as pd
import pytest
from made_series import PLAN

from liftseries.report.gain.figures import Panel
from liftseries.report.gain.sentences import gain_sentence, marginal_sentences, stability_sentence
from liftseries.report.gain.tables import bone_at_months_table, bone_methods_table, bone_terms_table, stability_table
from liftseries.report.kit.material import read_material
from liftseries.report.kit.numbers import decimal
from liftseries.report.kit.tables.cells import TRACE


@pytest.fixture(scope="module")
def material(made, tmp_path_factory):
    return read_material(made["full"].leave_in(tmp_path_factory.mktemp("bone")), PLAN)


def with_rows(material, change):
    """The material with its results changed by a function."""
    from dataclasses import replace

    return replace(material, tables={**material.tables, "results": change(material.results.copy())})


def row_of(material, analysis, term):
    rows = material.rows(analysis, "all")
    return rows[rows["term"].eq(term) & rows["headline"]].iloc[0]


def test_the_sentence_quotes_the_sites_mean_and_the_corrected_change(material):
    mean, change = row_of(material, "gain.mixed", "mean at 12"), row_of(material, "gain.mixed", "change per year")
    assert (mean["method"], change["method"]) == ("patients", "corrected")
    told = gain_sentence(material)
    limits = f"({decimal(mean['conf_low'])} to {decimal(mean['conf_high'])})"
    assert f"at 12 months was {decimal(mean['estimate'])} mm {limits}" in told.text
    assert ("rose by" in told.text) == (change["estimate"] > 0)
    assert told.source == "gain.mixed · all · mean at 12 · patients; gain.mixed · all · change per year · corrected"


def test_a_row_that_is_no_headline_is_not_quoted(material):
    none = with_rows(material, lambda rows: rows.assign(headline=False))
    assert gain_sentence(none) is None
    assert list(marginal_sentences(none)) == []
    assert stability_sentence(none) is None
    cells = {row[2] for row in bone_at_months_table(none, none.words).rows}
    assert cells == {"fewer than 5 measurements"}
    assert {row[2:4] for row in stability_table(none, none.words).rows} == {("", "")}


def test_shares_beyond_two_millimetres_are_told_by_their_counts(material):
    means, shares = marginal_sentences(material)
    row = row_of(material, "bone.marginal", "beyond 2 at 60")
    assert f"{row['n_events']:g} of {row['n_sites']:g} sites" in shares.text
    assert f"({row_of(material, 'bone.marginal', 'mean at 60')['n_sites']:g} sites) below" in means.text


def test_nobody_beyond_is_a_bound(material):
    def no_event(rows):
        at = rows["term"].eq("beyond 2 at 60")
        return rows.assign(
            estimate=rows["estimate"].mask(at, 0.0),
            std_error=rows["std_error"].mask(at),
            conf_low=rows["conf_low"].mask(at, 0.0),
            conf_high=rows["conf_high"].mask(at, 0.081),
            n_events=rows["n_events"].mask(at, 0),
        )

    n = row_of(material, "bone.marginal", "beyond 2 at 60")["n_sites"]
    told = list(marginal_sentences(with_rows(material, no_event)))[1].text
    assert f"0 of {n:g} sites (0.0%, at most 8.1%) at 60 months" in told


def test_terms_are_told_once_and_the_change_by_the_year(material):
    table = bone_terms_table(material, material.words)
    traces = [row[table.columns.index(TRACE)] for row in table.rows]
    assert len(traces) == len(set(traces))
    assert all(trace.endswith("· corrected") for trace in traces)
    assert not any("· months ·" in trace or "at 12" in trace for trace in traces)
    beside = bone_methods_table(material, material.words)
    assert {"gain.mixed · all · months · corrected", "bone.marginal · all · months · reml"} <= set(beside.holds)


def test_means_of_fewer_than_five_are_not_drawn_and_headlines_take_their_month():
    """Recalls of 4, 5 and 30 measurements; the headline at 12 months stands for the recall there."""
    headline = pd.DataFrame(
        {"term": ["mean at 12"], "n_sites": [28], "estimate": [0.6], "conf_low": [0.5], "conf_high": [0.7]}
    )
    by_visit = pd.DataFrame({"months": [0, 6, 12, 24], "n": [4, 5, 30, 4], "mean": [0.1, 0.3, 0.62, 0.9]})
    panel = Panel("", headline, by_visit, pd.DataFrame(), "", "", n_of_rows=True)
    assert panel.means[["months", "n", "mean"]].to_numpy().tolist() == [[6, 5, 0.3], [12, 28, 0.6]]

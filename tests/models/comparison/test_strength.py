"""E-values and detectable differences: made of the quoted row alone, and said of which."""

import numpy as np
import pytest

from liftseries.base.remarks import names_in, remark
from liftseries.models.comparison.strength import detectable_rows, evalue_rows

# VanderWeele and Ding 2017, doi:10.7326/M16-2607, their first example: 3.9 (1.8 to 8.7) has the E-value 7.26 and its
# limit 3.0. From memory.
RATIO = {"estimate": np.log(3.9), "std_error": 0.4, "conf_low": np.log(1.8), "conf_high": np.log(8.7)}


def contrast(kind="ratio", n_events=40, **other):
    row = {"analysis": "comparison.perforation", "subset": "all", "term": f"{kind}[B - A]", "method": "overlap"}
    counts = {"n_sites": 300, "n_patients": 200, "n_events": n_events, "headline": True, "problem": ""}
    return {**row, **RATIO, **counts, **other}


def test_e_values_of_a_ratio_and_of_its_limit_nearer_to_one():
    ratio, limit = evalue_rows([contrast(headline=False, method="crude", estimate=0.0), contrast()])
    assert ratio["estimate"] == pytest.approx(7.26, abs=0.005)
    assert limit["estimate"] == pytest.approx(3.0, abs=0.005)
    assert (ratio["term"], limit["term"]) == ("ratio[B - A]", "limit[B - A]")
    for row in (ratio, limit):
        assert (row["headline"], row["n_events"]) == (True, 40)
        assert row["note"] == remark("of_row", analysis="comparison.perforation", method="overlap")


def test_a_limit_beyond_one_takes_nothing_to_be_explained():
    assert evalue_rows([contrast(conf_low=np.log(0.9))])[1]["estimate"] == 1


def test_with_few_events_they_are_told_but_not_quoted():
    for row in evalue_rows([contrast(n_events=19)]):
        assert not row["headline"]
        assert "below_gate_evalue" in names_in(row["note"])
        assert np.isfinite(row["estimate"])


def test_where_no_contrast_is_quoted_there_is_neither():
    why = remark("no_contrast")
    for made, kind in ((evalue_rows, "ratio"), (detectable_rows, "difference")):
        for row in made([contrast(kind, headline=False)]):
            assert np.isnan(row["estimate"])
            assert row["problem"] == why


def test_the_detectable_difference_is_2_802_standard_errors():
    (row,) = detectable_rows([contrast("difference", std_error=0.05)])
    assert row["estimate"] == pytest.approx(2.802 * 0.05)
    assert row["note"] == remark("of_row", analysis="comparison.perforation", method="overlap")

"""The advice on rows names columns and an order, and no number of patients."""

from __future__ import annotations

from studies import as_typed, changed

from liftseries.release.row_advice import row_advice
from liftseries.schema import read_schema


def test_the_advice_holds_an_order_and_no_count():
    told = row_advice({name: as_typed(table) for name, table in changed({}).items()}, read_schema(), 5)
    assert list(told) == ["rank", "table", "column", "to"]
    assert len(told) > 1
    assert told["rank"].tolist() == list(range(1, len(told) + 1))
    assert ("patients", "age_years") in set(zip(told["table"], told["column"], strict=True))


def test_a_series_of_which_every_record_is_shared_needs_no_advice():
    tables = changed({})
    alike = {name: tables[name][["patient_id"]].drop_duplicates().assign(sex="f") for name in ("patients", "sites")}
    assert row_advice(alike, read_schema(), 1).empty

"""What the report says of how files were read: empty outcomes, columns never recorded, planned months."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from liftseries.report.closing.as_read import reading_told
from liftseries.report.closing.limits import limits, three_limits
from liftseries.report.kit.material import Material


def with_tables(material: Material, **tables) -> Material:
    return replace(material, tables={**material.tables, **tables})


def read_as(material: Material, entries: dict, n_cells: int = 0, **estimates) -> Material:
    """A study with a file in which empty cells mean something; `n_cells` of perforation were empty."""
    cells = [{"table": "sites", "column": "perforation", "site_id": f"s{k}", "months": None} for k in range(n_cells)]
    rate = material.results[material.results["analysis"].eq("perforation.rate") & material.results["headline"]]
    without = rate.iloc[:1].assign(analysis="sensitivity.filled_cells", term="perforation", headline=False, **estimates)
    results = pd.concat([material.results, without], ignore_index=True) if n_cells else material.results
    filled = pd.DataFrame(cells, columns=["table", "column", "site_id", "months"])
    plan = {**material.plan, "read_as": {"north.csv": {"empty_means": entries}}}
    return replace(with_tables(material, results=results, filled_cells=filled), plan=plan)


OF_PERFORATION = {"sites": {"perforation": "no"}}


def test_empty_outcomes_are_told_on_page_one_with_their_count_and_the_rate_without_them(materials):
    told = three_limits(
        read_as(materials["full"], OF_PERFORATION, 12, estimate=0.25, conf_low=0.1, conf_high=0.4, note="")
    )
    assert told[0].startswith("In some files an empty cell was taken for an answer on an outcome (no for")
    assert "(12 cells)" in told[0]
    assert told[0].endswith("Without these cells: 25.0% (10.0% to 40.0%) of sites perforated.")


def test_nothing_is_said_where_no_cell_was_empty_or_the_column_is_no_outcome(materials):
    plain = three_limits(materials["full"])
    assert three_limits(read_as(materials["full"], OF_PERFORATION)) == plain
    of_septum = read_as(materials["full"], {"sites": {"septum": "no"}})
    assert three_limits(of_septum) == plain
    assert "no for septum" in " ".join(block.text for block in limits(of_septum))


def test_what_leaves_the_house_of_how_files_are_read_names_no_file_and_no_word_of_one(materials):
    each = [{"months": 6, "status": {"from": "Zustand 6m", "words": {"weg": "failed"}}}]
    entries = {
        "empty_means": OF_PERFORATION,
        "not_collected": {"sites": ["septum"]},
        "columns": {"visits": {"each": each}},
    }
    told = reading_told({"reading": {}, "read_as": {"north.csv": entries | {"prefix": "N"}}})
    assert not any(word in str(told) for word in ("north", "Zustand", "weg", "'N'"))
    text = " ".join(
        block.text for block in limits(replace(materials["full"], plan=materials["full"].plan | {"read_as": told}))
    )
    assert "never recorded septum" in text
    assert "headed by a month" in text

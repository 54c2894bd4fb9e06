"""What the report says of corrected cells: how many, by how many people; a report that leaves the house does not."""

from __future__ import annotations

from dataclasses import replace

from made_tables import made_corrected

from liftseries.report.kit.material import Material, Withheld
from liftseries.report.series.report_chapter import corrected
from liftseries.report.series.tables import corrected_table

WITHHOLDING = Withheld(5, 10, 20, 100, 10, 30, rows_leave=False)


def with_corrected(material, counts):
    return replace(material, tables={**material.tables, "corrected": counts})


def test_cells_corrected_are_counted_by_people_and_stay_in_the_house():
    full = Material({"extra_columns": {}}, {}, {}, {"corrected": made_corrected()})
    assert corrected(full).startswith(
        "4 cells in 2 columns were corrected over the files as they were sent, and 2 rows left out, by 3 people;"
    )
    counts = full.table("corrected")
    rows_alone = counts.iloc[2:].assign(cells=0, people=1)
    assert corrected(with_corrected(full, rows_alone)) == "2 rows were left out by hand, by 1 person."
    assert corrected(with_corrected(full, counts.iloc[:0])).startswith("No cell was corrected")
    assert "stays in the house" in corrected(replace(full, withheld=WITHHOLDING))
    content = corrected_table(full, full.words)
    assert [list(row)[2:] for row in content.rows] == [["3", "3", "2"], ["1", "1", "1"], ["", "2", "1"]]
    assert corrected_table(with_corrected(full, counts.iloc[:0]), full.words) is None

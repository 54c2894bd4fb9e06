"""What reading a workbook costs: the fast reader, the careful one, and the same cells as CSV, in one run.

    python tests/benchmarks/workbooks.py

Read the ratios; the seconds belong to the machine.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import openpyxl

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from studies import tables, typed

from liftseries.intake.files.csv_files import read_csv
from liftseries.intake.files.workbook_layout import layout_of
from liftseries.intake.files.workbook_parts import Workbook
from liftseries.intake.files.workbooks import careful_records, quick_records
from liftseries.study.plan_files import Source

ROWS = (10_000, 100_000)


def main() -> None:
    print("| rows of visits | CSV, s | survey of the sheet, s | fast, s | careful, s | careful / fast with survey |")
    print("|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as name:
        for n_rows in ROWS:
            csv, survey, fast, careful = measured(Path(name), n_rows)
            ratio = careful / (fast + survey)
            print(f"| {n_rows:,} | {csv:.2f} | {survey:.2f} | {fast:.2f} | {careful:.2f} | {ratio:.1f} |")


def measured(folder: Path, n_rows: int) -> tuple[float, float, float, float]:
    """Seconds for the CSV, the survey of the layout, the fast and the careful reader."""
    visits = tables()["visits"]
    header, rows = list(visits.columns), visits.to_numpy().tolist()
    rows = [rows[at % len(rows)] for at in range(n_rows)]
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("visits")
    for row in [header, *rows]:
        sheet.append([typed(cell) for cell in row])
    book.save(folder / "visits.xlsx")
    lines = [",".join(row) for row in [header, *rows]]
    (folder / "visits.csv").write_text("\n".join(lines), encoding="utf-8")
    csv = seconds(lambda: read_csv(Source("visits.csv", folder / "visits.csv", None)))
    with Workbook(folder / "visits.xlsx", "visits.xlsx") as opened:
        xml = opened.sheet_xml(opened.sheets[0])
    quick, careful = quick_records(xml), careful_records(xml)[0]
    assert quick == careful
    return (
        csv,
        seconds(lambda: layout_of(xml.sheet)),
        seconds(lambda: quick_records(xml)),
        seconds(lambda: careful_records(xml)),
    )


def seconds(task) -> float:
    start = time.perf_counter()
    task()
    return time.perf_counter() - start


if __name__ == "__main__":
    main()

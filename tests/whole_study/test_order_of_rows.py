"""Order means nothing: shuffled rows and columns and split files give the same estimates, figures and tables."""

from __future__ import annotations

import filecmp
import re

from studies import changed, write_shuffled
from whole_study.conftest import FEW, changes_of_separated, liftseries

NAMES_FILES = {
    "set_aside.csv", "decisions.csv", "oddities.csv", "checked/places.parquet", "manifest.json",
    "ro-crate-metadata.json",
}  # fmt: skip
PAGES = re.compile(r".*supplement\.(html|pdf)")  # its last chapter names the input files and their hashes


def test_shuffled_rows_and_columns_and_split_files_change_no_byte_of_what_is_found(separated, tmp_path):
    study = tmp_path / "study"
    write_shuffled(study, changed(changes_of_separated()), 7, 2, f"invalid_rows: set_aside\n{FEW}")
    said = liftseries("run", study)
    assert said.status == 0, said
    one, other = separated[0] / "output", study / "output"
    left = [path.relative_to(one).as_posix() for path in one.rglob("[!.]*") if path.is_file()]
    left = [name for name in left if not name.startswith((".", "logs/")) and name not in NAMES_FILES]
    compared = [name for name in left if name != "checked/counts.csv" and not PAGES.fullmatch(name)]
    assert {"results.csv", "report.html", "report.pdf", "clean/sites.csv"} <= {*compared}
    assert [name for name in compared if not filecmp.cmp(one / name, other / name, shallow=False)] == []

"""A small study, run and released by the command: what the bundle's own files print, read back."""

from __future__ import annotations

import re
from html import unescape

import pandas as pd
from packed import everything_in, named_in
from whole_study.conftest import example_of, liftseries

from liftseries.models.questions import ANALYSES, RESULTS

SMALLEST_CELL = 5  # what a plan has that does not say otherwise


def test_the_bundle_of_a_real_run_names_nobody_and_no_file(released, keys_of_released):
    said = everything_in(released / "release")
    files = {path.name for path in released.iterdir() if path.is_file()}
    assert len(keys_of_released) == 12 + 16
    assert not named_in(said, keys_of_released | files - {"study.yaml"})


def test_no_row_of_a_site_and_no_model_leaves(released):
    """The bundle's own list is closed: what a run leaves for the statistician stays in the house."""
    left = {
        path.relative_to(released / "release").parts[0] for path in (released / "release").rglob("*") if path.is_file()
    }
    pages = {f"{name}.{form}" for name in ("report", "supplement") for form in ("html", "pdf")}
    assert left == {*pages, "results.csv", "release.json", "told.csv", "tables", "figures", "coarsened"}
    assert not [
        path for path in (released / "release").rglob("*") if path.name in ("second_opinion.csv", "codebook.csv")
    ]


def test_nothing_of_the_run_before_leaves(released):
    assert (released / "output/earlier/since.csv").is_file()
    left = [path for path in (released / "release").rglob("*") if path.is_file()]
    assert not [path for path in left if "earlier" in path.parts or path.name == "since.csv"]
    pages = [path.read_text(encoding="utf-8") for path in left if path.suffix == ".html"]
    assert pages
    assert not [page for page in pages if "Since the run before" in page]


def test_no_small_count_of_patients_stands_in_results_csv(released):
    results = pd.read_csv(released / "release/results.csv")
    whole = pd.read_csv(released / "output/results.csv")
    by = whole["subset"].str.partition("=")[0]
    leave_by = whole["analysis"].map(lambda name: ("all", *(ANALYSES[name].leave_by if name in ANALYSES else by)))
    may_leave = [column in allowed for column, allowed in zip(by, leave_by, strict=True)]
    key = ["analysis", "subset", "term", "method"]
    left, could = (set(table[key].itertuples(index=False)) for table in (results, whole[may_leave]))
    assert left, "a group of few patients has no row, but not all are such"
    assert left < could
    for column in RESULTS.counts:
        shown = results[column].dropna()
        assert not shown.between(1, SMALLEST_CELL - 1).any(), column


def test_no_rate_is_printed_whose_counts_the_file_does_not_tell(released):
    """Rates are exact functions of their counts, by whatever method: they stand where the quoted row tells these.

    Other analyses keep what no count can be read off; `tests/release/test_masking.py` holds what each gives away.
    """
    results = pd.read_csv(released / "release/results.csv")
    rates = results[results["analysis"].eq("perforation.rate") & results["term"].eq("rate")]
    counts = rates[rates["headline"].astype(bool)].set_index("subset")[["n_sites", "n_events"]]
    told = counts.notna().all(axis=1)
    assert told.any()
    numbers = ["estimate", "std_error", "p_value", "df"]
    printed = rates[rates[numbers].notna().any(axis=1)]
    assert len(printed)
    assert told.reindex(printed["subset"]).eq(True).all()


def test_no_cell_of_the_printed_tables_tells_a_small_part_of_a_whole(released):
    """Every `2 of 7` and `2 (29%)` that a table or the page prints has a numerator and a rest of no few."""
    words = [path.read_text(encoding="utf-8") for path in sorted((released / "release/tables").glob("*.csv"))]
    page = (released / "release/report.html").read_text(encoding="utf-8")
    words.append(unescape(re.sub(r"<[^>]*>", " ", re.sub(r"(?s)<(script|style).*?</\1>", " ", page))))
    assert "withheld" in words[-1]
    for text in words:
        for part, whole in re.findall(r"(?<![\w.])(\d+) ?of (\d+)(?![\w.])", text):
            assert not 1 <= int(part) < SMALLEST_CELL, f"{part} of {whole}"
        for part in re.findall(r"(?<![\w.])(\d+) \(\d+(?:\.\d+)? ?%\)", text):
            assert not 1 <= int(part) < SMALLEST_CELL, part


def test_a_second_release_of_the_same_run_tells_no_more(released):
    """To the byte, though it knows what the first one told; by the example of the command's help."""
    bundle = released / "release"
    first = {path.relative_to(bundle): path.read_bytes() for path in bundle.rglob("*") if path.is_file()}
    said = liftseries(*example_of("release", released))
    assert (said.status, said.err) == (0, "")
    assert "Next: " in said.out.splitlines()[-1]
    second = {path.relative_to(bundle): path.read_bytes() for path in bundle.rglob("*") if path.is_file()}
    assert [str(name) for name in sorted({*first, *second}) if first.get(name) != second.get(name)] == []

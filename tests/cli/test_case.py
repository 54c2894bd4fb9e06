"""`liftseries case`: a record of any site of a finished run, and what is said where there is none."""

from __future__ import annotations

import pytest
from audit_run import made_run

from liftseries.cli import main


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    _, output = made_run(folder, ("a", "b"), lambda operator, site: site == 0, n_sites=6)
    (output / "manifest.json").write_text("{}", encoding="utf-8")
    return folder


def test_any_site_has_a_record_and_its_place_is_said(finished, capsys):
    """S007 is not among the cases to review."""
    assert main(["case", str(finished), "S007"]) == 0
    said = capsys.readouterr().out
    path = finished / "output/records/S007.pdf"
    assert str(path) in said
    assert path.read_bytes().startswith(b"%PDF")


def test_an_unknown_site_is_told_with_the_nearest(finished, capsys):
    assert main(["case", str(finished), "s07"]) == 2
    told = capsys.readouterr().err
    assert 'no site "s07"' in told
    assert "Nearest: S007" in told
    assert main(["case", str(finished), "../../x"]) == 2
    assert "derived/sites.csv" in capsys.readouterr().err


def test_without_a_finished_run_there_is_no_record(tmp_path, capsys):
    made_run(tmp_path, ("a",), lambda operator, site: False, n_sites=3)
    assert main(["case", str(tmp_path), "S001"]) == 2
    assert "no finished run" in capsys.readouterr().err

"""What `liftseries release` says when it has made a bundle."""

from __future__ import annotations

import pytest
from studies import write_study

from liftseries.cli import main
from liftseries.release import bundle
from liftseries.release.bundle import Released

MORE = {"n_out": 2, "out_in": ["bone", "perforation by centre"]}


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({}, ["3 of 40 counts withheld; its report says why."]),
        (
            MORE,
            [
                "2 counts of few patients had been told or given away by earlier releases, with a lower smallest_cell, "
                "and cannot be taken back; seen in: bone; perforation by centre.",
                "3 of 40 counts withheld; its report says why.",
            ],
        ),
    ],
)
def test_what_is_out_already_is_listed(tmp_path, capsys, monkeypatch, more, told):
    study = write_study(tmp_path / "study")
    monkeypatch.setattr(
        bundle, "release", lambda plan, rows, **_: Released(plan.folder / "release", 40, 3, rows, **more)
    )
    assert main(["release", str(study)]) == 0
    last = f"Made {study / 'release'}. Next: read its report.html before it leaves the house."
    assert capsys.readouterr().out.splitlines() == [*told, last]

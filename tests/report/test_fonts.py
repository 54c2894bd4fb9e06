"""Without the fonts that the libraries ship no figure and no page is made in another type: the machine's fault."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from liftseries.base.errors import MACHINE_FAULTS, MachineFault
from liftseries.report.kit import fonts as type_of_pages
from liftseries.report.kit.figures.style import Drawing, new_figure, save
from liftseries.report.kit.fonts import fonts
from liftseries.report.kit.typeset import set_page


def a_drawing() -> Drawing:
    return Drawing(new_figure(20, 20), "an empty figure")


@pytest.fixture
def without_fonts(tmp_path, monkeypatch):
    nowhere = SimpleNamespace(origin=str(tmp_path / "matplotlib" / "__init__.py"))
    monkeypatch.setattr(type_of_pages, "find_spec", lambda name: nowhere)


@pytest.mark.parametrize("make", [lambda to: save(a_drawing(), to / "a"), lambda to: set_page("case.typ", {})])
def test_nothing_is_made_without_fonts(without_fonts, tmp_path, make):
    with pytest.raises(MachineFault) as told:
        make(tmp_path)
    assert str(told.value) == MACHINE_FAULTS["no_fonts"]
    assert not [path for path in tmp_path.iterdir() if path.is_file()]


def test_with_them_a_figure_is_made(tmp_path):
    assert fonts().is_dir()
    save(a_drawing(), tmp_path / "a")
    assert {path.name for path in tmp_path.iterdir()} == {"a.svg", "a.pdf", "a.png"}

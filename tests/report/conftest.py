"""Made-up series, from ample to empty."""

from pathlib import Path

import pytest
from made_comparison import KINDS as COMPARED
from made_comparison import Compared, made_comparison
from made_series import KINDS, PLAN, Series, made_series

from liftseries.report.kit.blocks import Written
from liftseries.report.kit.declarations import NARROW
from liftseries.report.kit.drawing import draw_figure
from liftseries.report.kit.figures.style import save
from liftseries.report.kit.material import Material, read_material, with_figures
from liftseries.report.kit.writer import write
from liftseries.report.purposes import purpose


@pytest.fixture(scope="session")
def made() -> dict[str, Series]:
    """A series of every kind."""
    return {kind: made_series(**options) for kind, options in KINDS.items()}


@pytest.fixture(scope="session")
def compared() -> dict[str, Compared]:
    """A comparison of every kind."""
    return {kind: made_comparison(**options) for kind, options in COMPARED.items()}


@pytest.fixture(scope="session")
def drawings(made) -> dict:
    """Every figure of every series."""
    return {kind: series.drawings() for kind, series in made.items()}


@pytest.fixture(scope="session")
def outputs(made, drawings, tmp_path_factory) -> dict[str, Path]:
    """What a run of every series leaves, its figures as SVG."""
    found = {}
    for kind, series in made.items():
        found[kind] = series.leave_in(tmp_path_factory.mktemp(kind))
        for figure in purpose("publication").figures:
            drawing, folder = drawings[kind][figure.name], found[kind] / "figures"
            if drawing is not None:
                save(drawing, folder / figure.name, ["svg"])
                if figure.has_narrow:
                    save(draw_figure(figure, series.read, PLAN, narrow=True), folder / NARROW / figure.name, ["svg"])
    return found


@pytest.fixture(scope="session")
def materials(made, tmp_path_factory) -> dict[str, Material]:
    """What the report is written from, of every series."""
    return {kind: read_material(one.leave_in(tmp_path_factory.mktemp(kind)), PLAN) for kind, one in made.items()}


@pytest.fixture(scope="session")
def written(outputs) -> dict[str, Written]:
    """The documents and tables of every series."""
    found = {}
    for kind, output in outputs.items():
        material = read_material(output, PLAN, {"liftseries": "0"}, {"s.csv": "ab" * 32})
        found[kind] = write(purpose("publication"), with_figures(material, [output / "figures"]))
    return found

"""Made-up series, from ample to empty."""

from pathlib import Path

import pytest
from made_comparison import KINDS as COMPARED
from made_comparison import Compared, made_comparison
from made_series import KINDS, PLAN, Series, made_series

from liftseries.report.kit.blocks import Written
from liftseries.report.kit.declarations import NARROW
from liftseries.report.kit.drawing import draw_figure
from liftseries.report.kit.figures.style import Drawing, save
from liftseries.report.kit.material import Material, read_material, with_figures
from liftseries.report.kit.writer import write
from liftseries.report.pages.page import anchors_in, render_html
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
def drawings(made) -> dict[str, dict[str, Drawing | None]]:
    """Every figure of every series."""
    return {kind: series.drawings() for kind, series in made.items()}


@pytest.fixture(scope="session")
def layouts(made, drawings) -> dict[tuple[str, str, bool], Drawing | None]:
    """Every layout of every figure of every series, the narrow ones True: None where it is not drawn."""
    found = {}
    for kind, series in made.items():
        for figure in purpose("publication").figures:
            found[kind, figure.name, False] = drawings[kind][figure.name]
            if figure.has_narrow:
                found[kind, figure.name, True] = draw_figure(figure, series.read, PLAN, narrow=True)
    return found


@pytest.fixture(scope="session")
def outputs(made, layouts, tmp_path_factory) -> dict[str, Path]:
    """What a run of every series leaves, its figures as SVG."""
    found = {kind: series.leave_in(tmp_path_factory.mktemp(kind)) for kind, series in made.items()}
    for (kind, name, narrow), drawing in layouts.items():
        if drawing is not None:
            save(drawing, found[kind] / "figures" / (NARROW if narrow else "") / name, ["svg"])
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


@pytest.fixture(scope="session")
def pages(written) -> dict[str, dict[str, str]]:
    """The documents of every series as pages, by name."""
    return {
        kind: {report.name: render_html(report, anchors_in(one.reports)) for report in one.reports}
        for kind, one in written.items()
    }

"""The figures of the bundle: the report's own, drawn from masked tables.

Those of single records, or whose steps and bars rest on too few, are not here; `words` names them.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from liftseries.report.depth import figures as depth
from liftseries.report.gain import figures as gain
from liftseries.report.kit.figures.style import Drawing, save
from liftseries.report.kit.material import Material
from liftseries.report.kit.words import Words
from liftseries.report.perforation import figures as perforation
from liftseries.report.series import figures as series
from liftseries.report.survival import figures as survival


def released_drawings(material: Material, curves: pd.DataFrame) -> dict[str, Drawing]:
    """Every figure that may leave the house.

    Parameters
    ----------
    material : masked
    curves : of survival, masked; `subset, months, survival, conf_low, conf_high`
    """
    words = Words(material.plan.get("extra_columns") or {})
    km = material.rows("survival.km")
    curves = curves[curves["survival"].notna()]
    return {
        "flow": series.draw_flow(material.table("flow")),
        "deviations": depth.draw_deviations(material.table("deviations")),
        "perforation_by_height": perforation.draw_perforation_by_height(material.rows("perforation.rate")),
        "perforation_odds": perforation.draw_perforation_odds(material.rows("perforation.gee"), words),
        "survival": survival.draw_survival(curves, material.table("survival_at_risk"), km),
        "survival_by_height": survival.draw_survival_by_height(curves, material.table("survival_at_risk"), km),
        "hazard_ratios": survival.draw_hazard_ratios(material.rows("survival.cox"), words),
        "gain_by_visit": gain.draw_gain_by_visit(material.table("gain_by_visit")),
        "gain_terms": gain.draw_gain_terms(material.rows("gain.mixed"), words),
    }


def draw_figures(material: Material, curves: pd.DataFrame, folder: Path) -> dict[str, Path]:
    """Writes them; name -> the SVG."""
    for name, drawing in released_drawings(material, curves).items():
        save(drawing, folder / name)
    return {path.stem: path for path in sorted(folder.glob("*.svg"))}

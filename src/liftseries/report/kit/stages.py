"""How many patients and sites reached a stage of the series, as far as the run counted them."""

from __future__ import annotations

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import is_withheld, missing

READ, SET_ASIDE, IN_SERIES, LOGGED = "read", "set aside", "in the series", "with a drilling log"


def stages(material: Material) -> dict:
    """Stage of the flow -> its row."""
    return {str(row["stage"]): row for _, row in material.table("flow").iterrows()}


def has_any(n) -> bool:
    """Whether a count is of somebody: one that is withheld is."""
    return not missing(n) and (is_withheld(n) or int(n) > 0)


def has_log(material: Material) -> bool:
    """Whether any site has a drilling log."""
    row = stages(material).get(LOGGED)
    return row is not None and has_any(row["n_sites"])

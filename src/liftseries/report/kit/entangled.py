"""Whether approach goes with protocol: two groups that cannot be told apart are told as such, everywhere alike."""

from __future__ import annotations

from dataclasses import dataclass

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import is_withheld

FEWEST_SITES = 10  # of a protocol, below which a share of them says little; our convention
FAR_APART = 0.3  # between the largest and the smallest share of guided sites; our convention


@dataclass(frozen=True)
class Entangled:
    """The protocols with the largest and the smallest share of guided sites."""

    most: float
    most_of: str
    least: float
    least_of: str


def guided_by_protocol(material: Material) -> dict[str, float]:
    """Protocol -> share of guided sites, of those that have sites enough to say."""
    table = material.table("characteristics")
    rows = table[table["column"].eq("approach") & table["level"].eq("guided") & table["share"].notna()]
    rows = rows[rows["subset"].astype(str).str.startswith("protocol=")]
    enough = rows["n_known"].map(is_withheld) | rows["n_known"].ge(FEWEST_SITES)
    names = rows["subset"].astype(str).str.removeprefix("protocol=").str.replace("_", " ")
    return dict(zip(names[enough], rows.loc[enough, "share"].astype(float), strict=True))


def entangled(material: Material) -> Entangled | None:
    """The two protocols whose shares lie furthest apart, where that is far; else None."""
    shares = guided_by_protocol(material)
    if not shares:
        return None
    most, least = max(shares, key=shares.get), min(shares, key=shares.get)
    far = shares[most] - shares[least] >= FAR_APART
    return Entangled(shares[most], most, shares[least], least) if far else None

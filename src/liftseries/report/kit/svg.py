"""What the page needs to know of a drawn figure, read back from its SVG."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

MM_PER_POINT = 25.4 / 72


def width_mm(svg: Path | str) -> float:
    """The width that the figure was drawn for."""
    return float(ElementTree.parse(svg).getroot().get("width").removesuffix("pt")) * MM_PER_POINT


def alt_text(svg: Path | str) -> str:
    """What the figure shows, in words."""
    return _told(svg, "description")


def covers(svg: Path | str) -> str:
    """What the figure rests on: sites, patients, events."""
    return _told(svg, "coverage")


def _told(svg: Path | str, element: str) -> str:
    found = ElementTree.parse(svg).getroot().find(f".//{{http://purl.org/dc/elements/1.1/}}{element}")
    return " ".join("".join(found.itertext()).split()) if found is not None else ""

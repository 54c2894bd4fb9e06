"""What the page needs to know of a drawn figure, read back from its SVG."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

MM_PER_POINT = 25.4 / 72
END_OF_HEAD = "</metadata>"


def width_mm(svg: Path | str) -> float:
    """The width that the figure was drawn for."""
    return float(_head(svg).get("width").removesuffix("pt")) * MM_PER_POINT


def alt_text(svg: Path | str) -> str:
    """What the figure shows, in words."""
    return _told(svg, "description")


def covers(svg: Path | str) -> str:
    """What the figure rests on: sites, patients, events."""
    return _told(svg, "coverage")


def _told(svg: Path | str, element: str) -> str:
    found = _head(svg).find(f".//{{http://purl.org/dc/elements/1.1/}}{element}")
    return " ".join("".join(found.itertext()).split()) if found is not None else ""


def _head(svg: Path | str) -> ElementTree.Element:
    """The picture without what is drawn, which is all but a fiftieth of the file."""
    head, end, _ = Path(svg).read_text(encoding="utf-8").partition(END_OF_HEAD)
    return ElementTree.fromstring(f"{head}{end}</svg>")

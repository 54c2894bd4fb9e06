"""Pages set by Typst as tagged PDF, the same bytes at a rerun."""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from liftseries.base.home import folder
from liftseries.report.kit.fonts import fonts

PDF_STANDARD = "ua-1"  # refuses a picture without alternative text, and a letter that the type lacks
MAY_BREAK = "\u200b"  # of no width: where a line may be broken
LONG_WORD = re.compile(r"\S{12}(?=\S{3})")
NO_LETTER = "□"  # stands for a letter that the type lacks


def set_page(template: str, data: Mapping[str, Any]) -> bytes:
    """A tagged PDF.

    Parameters
    ----------
    template : a file of `reports/`, which reads `page.json`
    data : what stands there; letters that the type lacks are replaced by `NO_LETTER`
    """
    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        shutil.copy(folder("reports") / template, room)
        (room / "page.json").write_text(json.dumps(_printable(data), ensure_ascii=False), encoding="utf-8")
        return set_in(room, template)[0]


def set_in(room: Path, template: str):
    """A template set beside what it reads: the tagged PDF, and the setter, which answers queries."""
    import typst

    setter = typst.Compiler(room / template, root=room, font_paths=_type(fonts()))
    return setter.compile(format="pdf", pdf_standards=PDF_STANDARD, timestamp=0), setter


@cache
def _type(place: Path):
    """The type of a folder, read once for all pages; none of the machine's."""
    import typst

    return typst.Fonts(include_system_fonts=False, font_paths=[place])


def _printable(data: Any) -> Any:
    if isinstance(data, str):
        text = "".join(letter if ord(letter) in _letters() else NO_LETTER for letter in data.replace("\t", " "))
        return LONG_WORD.sub(rf"\g<0>{MAY_BREAK}", text)
    if isinstance(data, Mapping):
        return {key: _printable(value) for key, value in data.items()}
    return [_printable(value) for value in data] if isinstance(data, list | tuple) else data


@cache
def _letters() -> frozenset[int]:
    """The letters that both weights of the type have, as code points."""
    from matplotlib.ft2font import FT2Font

    files = (str(fonts() / f"{name}.ttf") for name in ("DejaVuSans", "DejaVuSans-Bold"))
    both = frozenset.intersection(*(frozenset(FT2Font(file).get_charmap()) for file in files))
    return both - set(range(32)) | {ord(MAY_BREAK)}

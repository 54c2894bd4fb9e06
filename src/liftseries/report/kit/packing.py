"""Files that are packed or set, the same bytes at a rerun: zip packages, pages by Typst; and names that are safe."""

from __future__ import annotations

import io
import json
import re
import shutil
import tempfile
import zipfile
from collections.abc import Mapping
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from liftseries.base.errors import MACHINE_FAULTS, MachineFault
from liftseries.base.home import folder

FIXED_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can hold: a rerun gives the same bytes
PDF_STANDARD = "ua-1"  # refuses a picture without alternative text, and a letter that the type lacks
CONTENT_TYPES = "[Content_Types].xml"
MAY_BREAK = "\u200b"  # of no width: where a line may be broken
LONG_WORD = re.compile(r"\S{12}(?=\S{3})")
NO_LETTER = "□"  # stands for a letter that the type lacks


def packed(parts: Mapping[str, bytes]) -> bytes:
    """The parts of an office file as one zip, each dated alike."""
    to = io.BytesIO()
    with zipfile.ZipFile(to, "w") as file:
        for name in sorted(parts, key=lambda name: (name != CONTENT_TYPES, name)):
            entry = zipfile.ZipInfo(name, FIXED_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            file.writestr(entry, parts[name])
    return to.getvalue()


def undated(file: bytes) -> bytes:
    """An office file packed anew, the time of writing in its properties that of `FIXED_TIME`."""
    with zipfile.ZipFile(io.BytesIO(file)) as opened:
        parts = {name: opened.read(name) for name in opened.namelist()}
    core, date = "docProps/core.xml", b"%04d-%02d-%02dT00:00:00Z" % FIXED_TIME[:3]
    dates = rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*(<)"
    parts[core] = re.sub(dates, lambda found: found[1] + date + found[2], parts[core])
    return packed(parts)


def fonts() -> Path:
    """DejaVu, which matplotlib ships: the pages are set in the same type as the figures.

    Raises
    ------
    MachineFault
        It is not there: another type would be taken in silence.
    """
    # Found, not imported: matplotlib takes a second to start.
    folder = Path(find_spec("matplotlib").origin).parent / "mpl-data" / "fonts" / "ttf"
    if not (folder / "DejaVuSans.ttf").is_file():
        raise MachineFault(MACHINE_FAULTS["no_fonts"])
    return folder


def set_page(template: str, data: Mapping[str, Any]) -> bytes:
    """A tagged PDF.

    Parameters
    ----------
    template : a file of `reports/`, which reads `page.json`
    data : what stands there; letters that the type lacks are replaced by `NO_LETTER`
    """
    import typst

    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        shutil.copy(folder("reports") / template, room)
        (room / "page.json").write_text(json.dumps(_printable(data), ensure_ascii=False), encoding="utf-8")
        setter = typst.Compiler(room / template, root=room, font_paths=[fonts()], ignore_system_fonts=True)
        return setter.compile(format="pdf", pdf_standards=PDF_STANDARD, timestamp=0)


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


def shortened(name: str, longest: int = 40) -> str:
    """A name as it stands on a page, cut where it is very long."""
    return name if len(name) <= longest else f"{name[: longest - 1]}…"

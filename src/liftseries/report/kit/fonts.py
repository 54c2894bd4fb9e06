"""The type in which pages and figures are set."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from liftseries.base.errors import MACHINE_FAULTS, MachineFault


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

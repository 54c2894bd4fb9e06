"""How every figure looks, how large it is, and how it is written.

Drawn at print width (84 mm one column, 174 mm two), 7 to 8 point DejaVu Sans, which matplotlib ships.
Lightness, marker, line style and hatch differ together, so that a grey print tells all that colour tells.
Files are byte-identical on a rerun; the alternative text travels inside the SVG and the PDF.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, wraps
from pathlib import Path

import matplotlib
from fontTools import subset
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from liftseries.base.outputs import written_whole
from liftseries.report.kit.declarations import FORMATS
from liftseries.report.kit.fonts import fonts

MM_PER_INCH = 25.4
SINGLE_MM, DOUBLE_MM = 84.0, 174.0
PNG_DPI = 600
# Runs of one colour are most of a drawing: looked for alone, packing takes two thirds of the time, for a fourth more.
MORE = {"png": {"pil_kwargs": {"compress_type": zlib.Z_RLE}}}

# Four tones whose lightness alone (CIE L* about 27, 50, 68, 88) tells them apart.
INK, DARK, MID, LIGHT, PALE, RULE = "#1c2126", "#1d4256", "#a9602c", "#8fabaa", "#e3ddd0", "#b9bec2"
SMALL_PT, TEXT_PT = 7.0, 8.0
FONT = "DejaVu Sans"


def _without_layout(*args, load=subset.load_font, **options):
    """A font to be embedded, without the tables by which texts are laid out."""
    font = load(*args, **options)
    for tag in {"GDEF", "GPOS", "GSUB"} & {*font.keys()}:
        del font[tag]
    return font


# A PDF places each glyph itself and never reads these tables; reading and cutting them is most of the time of
# embedding. matplotlib has no setting for it.
subset.load_font = _without_layout


@dataclass(frozen=True)
class Look:
    """How one level of a category is drawn: all four differ from level to level."""

    colour: str
    marker: str
    filled: bool
    line: str | tuple
    hatch: str

    @property
    def face(self) -> str:
        """The marker's inside."""
        return self.colour if self.filled else "white"


# The looks of the first, second, third … series, in this order; the colours fill bands and markers too.
LOOKS = (
    Look(DARK, "o", True, "-", ""),
    Look(MID, "D", False, (0, (5, 1.6)), "////"),
    Look(LIGHT, "s", True, (0, (1.2, 1.2)), "...."),
    Look(INK, "^", False, (0, (7, 1.5, 1.2, 1.5)), "xxxx"),
    Look(MID, "v", True, (0, (3, 1, 1, 1, 1, 1)), "\\\\\\\\"),
)

_RC = {
    "font.family": FONT,
    "font.size": SMALL_PT,
    "axes.titlesize": TEXT_PT,
    "axes.labelsize": SMALL_PT,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "text.color": INK,
    "grid.color": RULE,
    "grid.linewidth": 0.4,
    "lines.linewidth": 1.2,
    "lines.markersize": 4.0,
    "patch.linewidth": 0.6,
    "hatch.linewidth": 0.5,
    "legend.frameon": False,
    "pdf.fonttype": 42,
    "svg.fonttype": "path",
    "savefig.facecolor": "white",
}


@dataclass(frozen=True)
class Drawing:
    """A figure and what it shows, in words.

    Attributes
    ----------
    figure : matplotlib Figure at print size
    alt : what is shown and the main numbers, for those who don't see it
    covers : what it rests on, for its caption: `634 sites of 419 patients, 46 perforations`
    """

    figure: Figure
    alt: str
    covers: str = ""


# Marks of a panel that are drawn as shapes; more are a picture within the figure, or its files grow with them.
MOST_MARKS = 500


def drawn(draw: Callable[..., Drawing | None]) -> Callable[..., Drawing | None]:
    """A draw function that runs with our settings, whatever the machine's own are; None where nothing can be drawn."""

    @wraps(draw)
    def with_our_settings(*args, **kwargs) -> Drawing | None:
        with matplotlib.rc_context():
            matplotlib.rcdefaults()
            matplotlib.rcParams.update(_RC)
            return draw(*args, **kwargs)

    return with_our_settings


def new_figure(width_mm: float, height_mm: float, **options) -> Figure:
    """An empty figure of that size, made without pyplot."""
    figure = Figure(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH), **options)
    FigureCanvasAgg(figure)
    return figure


def axes_at(figure: Figure, left_mm: float, bottom_mm: float, width_mm: float, height_mm: float, **options):
    """Axes at a place in mm from the figure's lower left corner."""
    width, height = (size * MM_PER_INCH for size in figure.get_size_inches())
    return figure.add_axes([left_mm / width, bottom_mm / height, width_mm / width, height_mm / height], **options)


def name_beside(axes, y: float, text: str, points: float = 5) -> None:
    """A direct label to the right of the axes, at a height of the data."""
    axes.annotate(
        text,
        (1.0, y),
        xycoords=("axes fraction", "data"),
        xytext=(points, 0),
        textcoords="offset points",
        va="center",
        linespacing=1.15,
        annotation_clip=False,
    )


@cache
def text_width_mm(text: str, size_pt: float = SMALL_PT, weight: str = "normal") -> float:
    """How wide a text will stand; the widest of its lines."""
    figure = _ruler()
    shown = figure.text(0, 0, text, size=size_pt, weight=weight, family=FONT)
    width = shown.get_window_extent(figure.canvas.get_renderer()).width / figure.dpi * MM_PER_INCH
    shown.remove()
    return width


@cache
def _ruler() -> Figure:
    """An empty figure on which texts are measured."""
    return new_figure(10, 10)


def wrapped(text: str, width_mm: float, size_pt: float = SMALL_PT) -> str:
    """The text in lines no wider than that."""
    lines: list[str] = []
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_mm(longer, size_pt) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return "\n".join(lines)


def save(drawing: Drawing, stem: Path | str, forms: Sequence[str] = FORMATS) -> None:
    """Write `stem`.svg, .pdf and .png, or some of them.

    Parameters
    ----------
    drawing
    stem : path without an ending; its name salts the ids inside the SVG

    Raises
    ------
    MachineFault
        The fonts are not there.
    """
    fonts()  # before the library looks for others
    stem = Path(stem)
    plain = {"Creator": None, "Date": None}
    metadata = {
        "svg": {
            **plain,
            "Title": stem.name.replace("_", " "),
            "Description": drawing.alt,
            **({"Coverage": drawing.covers} if drawing.covers else {}),
        },
        "pdf": {
            "Creator": None,
            "Producer": None,
            "CreationDate": None,
            "Title": stem.name.replace("_", " "),
            "Subject": drawing.alt,
        },
        "png": {"Software": None, "Description": drawing.alt},
    }
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_RC | {"svg.hashsalt": stem.name})
        for form in forms:
            with written_whole(stem.with_name(f"{stem.name}.{form}")) as temporary:
                drawing.figure.savefig(
                    temporary, format=form, dpi=PNG_DPI, metadata=metadata[form], **MORE.get(form, {})
                )

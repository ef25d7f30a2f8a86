"""How every figure looks, and how it becomes a file.

Colours are those of Okabe and Ito (2008, from memory), told apart by people with the common colour deficiencies;
marker, line or hatch carries the same meaning, so that a grey print loses nothing. Figures are as narrow as a telephone
needs and measured in inches by hand, so that no layout depends on the fonts of the machine. The same figure gives the
same bytes: ids are salted, and dates and program names stay out.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

from meltdoe.report.plain_text import one_line, shortened, wrapped
from meltdoe.series.factor import Amount, Factor, FloatArray

__all__ = [
    "AXIS_PAD", "BEST", "BLACK", "BLUE", "GOOD", "GREY", "MELT_MARKS", "MICRO", "NOT_GOOD", "PALE", "SMALL",
    "SURE", "TEXT", "UNKNOWN", "UNSURE", "VERMILION", "WIDTH", "Mark", "Picture", "amount_range", "drawing",
    "factor_axis", "file_name", "in_inches", "key_line", "new_figure", "png_bytes", "quiet", "svg_text",
]  # fmt: skip

BLACK, BLUE, SKY, VERMILION, YELLOW = "#000000", "#0072B2", "#56B4E9", "#D55E00", "#F0E442"
GREY, PALE = "#5A5A5A", "#D9D9D9"

AXIS_PAD = 0.05  # share of a factor's range that an axis goes on beyond it
WIDTH = 4.2  # inches; on a telephone 390 px wide a point becomes about 1.2 px, so SMALL letters are 9 px
TEXT, SMALL, MICRO = 8.8, 7.6, 6.9  # points
_LETTER = 0.059  # inches of an average SMALL letter

# Light to dark, so that they keep their order in grey; light enough at the dark end for black lines on top.
SURE = LinearSegmentedColormap.from_list("chance", ["#FFFFFF", "#CDE5F5", SKY, "#1F86C4"])
UNSURE = LinearSegmentedColormap.from_list("width", ["#FFFFFF", "#FBDDC6", "#F0A46B", VERMILION])

_RC: dict[str, Any] = {
    "axes.edgecolor": GREY,
    "axes.labelsize": TEXT,
    "axes.linewidth": 0.7,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.unicode_minus": True,
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "sans-serif"],
    "font.size": TEXT,
    "hatch.linewidth": 0.6,
    "legend.fontsize": SMALL,
    "legend.frameon": False,
    "lines.linewidth": 1.4,
    "savefig.facecolor": "white",
    "svg.fonttype": "none",
    "svg.hashsalt": "meltdoe",
    "text.parse_math": False,
    "xtick.color": GREY,
    "xtick.labelcolor": BLACK,
    "xtick.labelsize": SMALL,
    "ytick.color": GREY,
    "ytick.labelcolor": BLACK,
    "ytick.labelsize": SMALL,
}


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A figure with what has to be said beside it.

    Attributes
    ----------
    name : of its files, unique in a series.
    title : what it shows, without a full stop.
    alt : what a reader who cannot see it should know, written from its numbers.
    caption : what marks and lines mean, with units, level of intervals and number of melts.
    """

    name: str
    figure: Figure
    title: str
    alt: str
    caption: str


@dataclass(frozen=True, slots=True)
class Mark:
    """How one kind of melt is drawn."""

    marker: str
    face: str
    edge: str
    says: str


GOOD = Mark("o", BLACK, "white", "good")
NOT_GOOD = Mark("X", VERMILION, "white", "not good")
UNKNOWN = Mark("D", PALE, BLACK, "not known")
BEST = Mark("*", YELLOW, BLACK, "best setting")
MELT_MARKS: dict[bool | None, Mark] = {True: GOOD, False: NOT_GOOD, None: UNKNOWN}


@contextmanager
def drawing() -> Iterator[None]:
    """Draw with this style alone, whatever the user's own settings of the drawing library are."""
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        settings: Any = matplotlib.rcParams
        settings.update(_RC)
        yield


def new_figure(height: float, width: float = WIDTH) -> Figure:
    """An empty figure, inches."""
    return Figure(figsize=(width, height))


def in_inches(figure: Figure, left: float, bottom: float, width: float, height: float, **kw: Any) -> Axes:
    """Axes at a place measured in inches from the lower left corner."""
    wide, tall = figure.get_size_inches()
    return figure.add_axes((left / wide, bottom / tall, width / wide, height / tall), **kw)


def quiet(axes: Axes, *sides: str) -> None:
    """Take away the frame of the named sides, and the ticks that stand there."""
    for side in sides:
        axes.spines[side].set_visible(False)
        if side in ("left", "bottom"):
            (axes.xaxis if side == "bottom" else axes.yaxis).set_ticks([])


def key_line(figure: Figure, items: Iterable[tuple[dict[str, Any] | None, str]]) -> None:
    """A line at the foot that says what marks mean; an item without a mark is written as it is drawn, in italics.

    Parameters
    ----------
    items : how a mark is drawn (keywords of a line of one point) and what it says.
    """
    inches = figure.dpi_scale_trans
    x = 0.18
    for look, says in items:
        if look is not None:
            figure.add_artist(Line2D([x], [0.15], ls="none", transform=inches, **look))
            x += 0.11
        style = "normal" if look else "italic"
        figure.text(x, 0.145, says, fontsize=SMALL, va="center", style=style, transform=inches)
        x += _LETTER * len(says) + 0.17


def _with_unit(factor: Factor, most: int) -> str:
    """A factor's title and unit, to stand at an axis."""
    title = shortened(factor.title, most)
    return f"{title} ({one_line(factor.unit)})" if isinstance(factor, Amount) and factor.unit else title


def factor_axis(
    axes: Axes, which: str, factor: Factor, seen: FloatArray | None = None, *, label: bool = True, ticks: bool = True
) -> None:
    """Scale, range, ticks and label of an axis that carries a factor; amounts in their unit, options by position.

    Parameters
    ----------
    seen : raw settings that have to be on the axis, even beyond the planned range.
    """
    axis = axes.xaxis if which == "x" else axes.yaxis
    set_limits = axes.set_xlim if which == "x" else axes.set_ylim
    if isinstance(factor, Amount):
        low, high = amount_range(factor, seen)
        if factor.scale == "log":
            (axes.set_xscale if which == "x" else axes.set_yscale)("log")
            ends = np.log([low, high])
            thirds = np.exp(np.linspace(ends[0], ends[1], 4))[1:-1]
            inner = [float(f"{value:.2g}") for value in thirds]
            pad = AXIS_PAD * (ends[1] - ends[0])
            set_limits(*np.exp([ends[0] - pad, ends[1] + pad]))
            axis.set_major_locator(FixedLocator([low, *inner, high]))
        else:
            pad = AXIS_PAD * (high - low)
            set_limits(low - pad, high + pad)
            axis.set_major_locator(MaxNLocator(4 if which == "x" else 5))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axis.set_minor_locator(NullLocator())
    else:
        set_limits(-0.6, len(factor.options) - 0.4)
        most = 14 if len(factor.options) <= 3 else 9
        names = [shortened(option, most) for option in factor.options]
        axis.set_ticks(range(len(factor.options)), names)
    if not ticks:
        axis.set_tick_params(labelleft=False, labelbottom=False)
    if label:
        name = _with_unit(factor, 60)
        axis.set_label_text(shortened(name, 46) if which == "x" else wrapped(name, 30, 2))


def amount_range(factor: Amount, seen: FloatArray | None = None) -> tuple[float, float]:
    """The planned range, stretched to settings really used, but by no more than its own length on either side."""
    low, high = factor.low, factor.high
    used = np.asarray([] if seen is None else seen, dtype=float)
    used = used[np.isfinite(used)]
    if not used.size:
        return low, high
    span = high - low
    least = max(low - span, low / 4 if factor.scale == "log" else -np.inf)
    return float(np.clip(used.min(), least, low)), float(np.clip(used.max(), high, high + span))


def file_name(what: str, position: int, name: str) -> str:
    """Name of the files of a figure on one outcome: letters that every disk can hold, unique by its position."""
    kept = "".join(c for c in name if c.isascii() and (c.isalnum() or c in "_-"))[:40].lower()
    return f"{what}-{position + 1}" + (f"-{kept}" if kept else "")


def svg_text(figure: Figure) -> str:
    """The figure as the drawing library writes it, text kept as text; the same bytes every time."""
    out = io.StringIO()
    _save(figure, out, "svg", {"Date": None, "Creator": None, "Format": None, "Type": None})
    return out.getvalue()


def png_bytes(figure: Figure, dots_per_inch: int = 300) -> bytes:
    """The figure as pixels."""
    out = io.BytesIO()
    _save(figure, out, "png", {"Software": None}, dpi=dots_per_inch, pil_kwargs={"compress_level": 1})
    return out.getvalue()


def _save(figure: Figure, out: Any, kind: str, metadata: dict[str, None], **kw: Any) -> None:
    with drawing(), warnings.catch_warnings():
        # A letter that the font lacks is drawn as a box; SVG and page still hold the letter itself.
        warnings.filterwarnings("ignore", message=r"Glyph \d+ .* missing from font", category=UserWarning)
        figure.savefig(out, format=kind, metadata=metadata, **kw)

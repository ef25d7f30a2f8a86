"""What one more melt would tell, over the two factors that change it most, with the melts made and those proposed."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.next_melt.advice import Advice
from meltdoe.next_melt.information import staged_information
from meltdoe.next_melt.views import RANKING_DRAWS, chain_views
from meltdoe.report.advice_sentences import TELLS_SCALE
from meltdoe.report.figures.held import turned
from meltdoe.report.figures.melt_marks import counted_sentence, outcomes_of, put_marks, spread_out
from meltdoe.report.figures.style import (
    BLACK,
    GREY,
    MELT_MARKS,
    SMALL,
    TEXT,
    UNSURE,
    Picture,
    drawing,
    factor_axis,
    in_inches,
    key_line,
    new_figure,
    quiet,
)
from meltdoe.report.plain_text import one_line
from meltdoe.series.factor import Amount, Factor, FloatArray

__all__ = ["information_picture"]

_CELLS, _STEPS = 13, 5  # settings of an amount that are drawn, and that are looked at to rank the factors
_HIGH, _ROW, _LEFT, _NAMES, _RIGHT = 2.5, 0.6, 0.8, 1.3, 3.46  # inches; names of options need the wider margin
_NEXT: dict[str, Any] = {"marker": "^", "mfc": "white", "mec": BLACK, "mew": 1.4}
_MOST_NAMED = 6
_FLAT = 0.1  # bits


def information_picture(chain: ChainFit, advice: Advice) -> Picture | None:
    """The map; None where nothing is proposed."""
    if not advice.melts:
        return None
    series, base = chain.series, advice.melts[0].raw
    pair = _ranked(chain, base)[:2]
    amounts_first = sorted(pair, key=lambda i: not isinstance(series.factors[i], Amount))
    across, up = amounts_first[0], (amounts_first[1] if len(pair) > 1 else None)
    x, y = series.factors[across], None if up is None else series.factors[up]
    columns, rows = x.grid(_CELLS), np.array([0.0]) if y is None else y.grid(_CELLS)
    table = turned(base, {across: columns} if up is None else {up: rows, across: columns})
    shape = (len(rows), len(columns))
    allowed = series.allowed(table).reshape(shape)
    told = np.where(allowed, _told(chain, table).reshape(shape), np.nan)
    succeeded = outcomes_of(chain.log)
    high = _ROW if y is None else _HIGH
    left = _LEFT if y is None or isinstance(y, Amount) else _NAMES
    with drawing():
        figure = new_figure(0.85 + high + 0.3)
        axes = in_inches(figure, left, 0.85, _RIGHT - left, high)
        least, top = float(np.nanmin(told)), float(np.nanmax(told)) or 1.0
        least = least if top - least > _FLAT else 0.0  # small differences are not blown up
        edges = _edges(x, columns), _edges(y, rows)
        cells = axes.pcolormesh(*edges, told, cmap=UNSURE, vmin=least, vmax=top, edgecolors="face", lw=0.3, zorder=1)
        factor_axis(axes, "x", x, chain.log.raw[:, across])
        if y is None:
            quiet(axes, "left")
            axes.set_ylim(-0.5, 0.5)
        else:
            factor_axis(axes, "y", y, chain.log.raw[:, up])
        _forbidden(axes, *edges, ~allowed)
        places = _places(x, y, np.vstack([chain.log.raw, *(melt.raw for melt in advice.melts)]), across, up)
        put_marks(axes, places[: len(succeeded)], succeeded)
        for place in places[len(succeeded) :]:
            axes.plot(*place, ms=8.0, zorder=7, clip_on=False, **_NEXT)
        axes.set_title("what one more melt would tell", fontsize=TEXT, loc="left", pad=5)
        axes.spines[["top", "right"]].set_visible(True)
        scale = in_inches(figure, _RIGHT + 0.12, 0.85, 0.13, high)
        bar = figure.colorbar(cells, cax=scale, ticks=MaxNLocator(5, steps=[1, 2, 5, 10]))
        if bar.solids is not None:
            bar.solids.set_edgecolor("face")  # else hairlines show between the steps
            bar.solids.set_rasterized(False)  # pixels inside an SVG would be an image that the page may not load
        bar.outline.set_edgecolor(GREY)
        bar.ax.tick_params(labelsize=SMALL, length=2)
        kinds = [good for good in (True, False, None) if good in succeeded]
        looks = [
            ({"marker": m.marker, "mfc": m.face, "mec": m.edge, "mew": 0.8, "ms": 5.5}, m.says)
            for m in (MELT_MARKS[good] for good in kinds)
        ]
        key_line(figure, [*looks, ({**_NEXT, "ms": 8.0}, "proposed")])
    names = " and ".join(one_line(factor.name) for factor in (x, y) if factor is not None)
    held = [factor.name for i, factor in enumerate(series.factors) if i not in pair][:_MOST_NAMED]
    first = advice.melts[0]
    shown = (across,) if up is None else (across, up)
    counted = counted_sentence(chain.log, shown) if succeeded else "No melt has been made yet."
    return Picture(
        "information-map",
        figure,
        f"What one more melt would tell, over {names}",
        f"{_alt(told, x, y, columns, rows)} The first melt proposed, at {one_line(series.show(first.settings))}, would "
        f"tell {first.information / math.log(2.0):.2f}. {counted}",
        (
            f"Other factors as in the first melt proposed: "
            f"{one_line(series.show({name: first.settings[name] for name in held}))}. "
            if held
            else ""
        )
        + f"Shade: what one more melt there is expected to tell; {TELLS_SCALE}. Dark cells are where knowledge is thin "
        "and a melt gets far enough to show it. Melts are drawn where they stood in these factors, whatever the others "
        "were. " + ("Hatched: a limit forbids it. " if not allowed.all() else "") + counted,
    )


def _told(chain: ChainFit, table: FloatArray) -> FloatArray:
    """Expected information of a melt at each setting, in bits, shape (n,)."""
    return np.asarray(staged_information(chain_views(chain, table, RANKING_DRAWS).stages).sum(axis=0) / math.log(2.0))


def _ranked(chain: ChainFit, base: FloatArray) -> list[int]:
    """Positions of the factors, first the one whose turning alone changes most what a melt tells."""
    tables = [turned(base, {i: factor.grid(_STEPS)}) for i, factor in enumerate(chain.series.factors)]
    ends = np.cumsum([len(table) for table in tables])
    moved = [float(np.ptp(part)) for part in np.split(_told(chain, np.concatenate(tables)), ends[:-1])]
    return sorted(range(len(moved)), key=lambda i: (-round(moved[i], 6), i))


def _scaled(factor: Factor | None, raw: FloatArray) -> FloatArray:
    """Where settings stand on an even axis: coded amounts, positions of options."""
    return factor.coded(raw) if isinstance(factor, Amount) else np.asarray(raw, dtype=float)


def _unscaled(factor: Factor | None, places: FloatArray) -> FloatArray:
    return factor.decoded(places) if isinstance(factor, Amount) else places


def _edges(factor: Factor | None, values: FloatArray) -> FloatArray:
    """Borders of the cells around ascending values."""
    places = _scaled(factor, values)
    if len(places) == 1:
        return _unscaled(factor, np.array([places[0] - 0.5, places[0] + 0.5]))
    inner = (places[1:] + places[:-1]) / 2.0
    return _unscaled(factor, np.concatenate([[2 * places[0] - inner[0]], inner, [2 * places[-1] - inner[-1]]]))


def _places(x: Factor, y: Factor | None, raw: FloatArray, across: int, up: int | None) -> FloatArray:
    """Points (n, 2) of settings on the axes, side by side where they coincide."""
    high = np.zeros(len(raw)) if up is None else _scaled(y, raw[:, up])
    steps = [0.08 if isinstance(factor, Amount) or factor is None else 0.12 for factor in (x, y)]
    points = np.asarray(np.column_stack([_scaled(x, raw[:, across]), high]).round(6), dtype=float)
    moved = spread_out(points, (steps[0], 1.3 * steps[1]))
    return np.column_stack([_unscaled(x, moved[:, 0]), _unscaled(y, moved[:, 1])])


def _forbidden(axes: Axes, columns: FloatArray, rows: FloatArray, broken: npt.NDArray[np.bool_]) -> None:
    for i, j in np.argwhere(broken):
        corner, width, height = (columns[j], rows[i]), columns[j + 1] - columns[j], rows[i + 1] - rows[i]
        axes.add_patch(
            Rectangle(corner, width, height, facecolor="white", edgecolor=GREY, hatch="////", lw=0, zorder=2)
        )


def _alt(told: FloatArray, x: Factor, y: Factor | None, columns: FloatArray, rows: FloatArray) -> str:
    ends = []
    for position in (int(np.nanargmin(told)), int(np.nanargmax(told))):
        i, j = np.unravel_index(position, told.shape)
        at = [f"{x.name} {x.show(float(f'{columns[j]:.4g}'))}"]
        at += [] if y is None else [f"{y.name} {y.show(float(f'{rows[i]:.4g}'))}"]
        ends.append(f"{told[i, j]:.2f} at {', '.join(at)}")
    return one_line(f"Within the limits one more melt would tell between {ends[0]} and {ends[1]}; {TELLS_SCALE}.")

"""The chance of success over the two amounts that matter most, with its uncertainty, the melts and the limits."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import Colormap
from matplotlib.figure import Figure

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import interval_phrase, level_phrase, percent
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.report.figures.held import held_phrase, turned
from meltdoe.report.figures.melt_marks import counted_sentence, key_of_marks, outcomes_of, put_marks, spread_out
from meltdoe.report.figures.style import (
    AXIS_PAD,
    BEST,
    BLACK,
    MICRO,
    SMALL,
    SURE,
    TEXT,
    UNSURE,
    Picture,
    amount_range,
    drawing,
    factor_axis,
    in_inches,
    new_figure,
)
from meltdoe.report.plain_text import one_line
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries

__all__ = ["chance_map"]

_POINTS = 21  # of each axis where the chance is computed
_FINE = 161  # of each axis where limits are looked up, so that their border is smooth
_LEVELS = np.linspace(0.0, 1.0, 11)
_HIGH, _BETWEEN, _LEFT, _WIDE = 2.2, 0.52, 0.8, 2.66  # inches


def chance_map(chain: ChainFit, best: BestSetting, across: int, up: int) -> Picture:
    """Two maps, one above the other: the mean chance, and how wide its interval is.

    Parameters
    ----------
    across, up : positions of the two amounts.
    """
    series = chain.series
    x, y = series.factors[across], series.factors[up]
    assert isinstance(x, Amount)
    assert isinstance(y, Amount)
    raw = chain.log.raw
    grids = [_grid(x, raw[:, across], _POINTS), _grid(y, raw[:, up], _POINTS)]
    chance = chain.chance(turned(best.raw, {up: grids[1], across: grids[0]}))
    shape = (len(grids[1]), len(grids[0]))
    mean, width = chance.mean.reshape(shape), (chance.high - chance.low).reshape(shape)
    succeeded, counted = outcomes_of(chain.log), counted_sentence(chain.log, (across, up))
    with drawing():
        figure = new_figure(0.35 + 0.5 + 2 * _HIGH + _BETWEEN + 0.3)
        low = 0.35 + 0.5
        for bottom, values, colours, says, label in (
            (low + _HIGH + _BETWEEN, mean, SURE, "average chance of success", False),
            (low, width, UNSURE, f"width of its {100 * chain.level:g} % interval, points", True),
        ):
            axes = in_inches(figure, _LEFT, bottom, _WIDE, _HIGH)
            _map(figure, axes, grids[0], grids[1], values, colours, bottom, "" if label else " %")
            factor_axis(axes, "x", x, raw[:, across], label=label)
            factor_axis(axes, "y", y, raw[:, up])
            _limits(axes, series, best, across, up)
            _melts(axes, x, y, raw[:, [across, up]], succeeded)
            axes.plot(best.raw[across], best.raw[up], "*", ms=14, mfc=BEST.face, mec=BEST.edge, mew=0.8, zorder=5)
            axes.set_title(says, fontsize=TEXT, loc="left", pad=5)
            axes.spines[["top", "right"]].set_visible(True)
            axes.set_facecolor("none")
        key_of_marks(figure, succeeded)
    held = held_phrase(chain, best, (across, up))
    inside = series.allowed(turned(best.raw, {up: grids[1], across: grids[0]})).reshape(shape)
    return Picture(
        "chance-map",
        figure,
        f"Chance of success over {one_line(x.name)} and {one_line(y.name)}",
        _alt(best, chain.level, x, y, grids, np.where(inside & _planned(x, y, grids), mean, np.nan), width)
        + f" {counted}",
        f"Other factors {held}. "
        * bool(held)
        + "Above: average chance that everything that is judged is good, lines at every 20 points. Below: how far "
        f"the ends of its interval, {level_phrase(chain.level)}, lie apart: where that is large the map is guesswork. "
        "Melts are drawn where they stood in these two factors, whatever the others were; melts at one point stand "
        "side by side. " + ("Hatched: a limit forbids it. " if not inside.all() else "") + counted,
    )


def _grid(factor: Amount, seen: FloatArray, points: int) -> FloatArray:
    low, high = amount_range(factor, seen)
    ends = factor.coded(np.array([low, high]))
    pad = AXIS_PAD * (ends[1] - ends[0])
    return factor.decoded(np.linspace(ends[0] - pad, ends[1] + pad, points))


def _map(
    figure: Figure,
    axes: Axes,
    x: FloatArray,
    y: FloatArray,
    values: FloatArray,
    colours: Colormap,
    bottom: float,
    sign: str,
) -> None:
    filled = axes.contourf(x, y, values, levels=_LEVELS, cmap=colours, zorder=1)
    filled.set_edgecolor("face")  # else hairlines show between the bands
    lines = axes.contour(x, y, values, levels=_LEVELS[2:-1:2], colors=BLACK, linewidths=0.7, zorder=2)
    axes.clabel(lines, fmt=lambda value: f"{100 * value:.0f}{sign}", fontsize=MICRO)
    bar = figure.colorbar(filled, cax=in_inches(figure, _LEFT + _WIDE + 0.12, bottom, 0.13, _HIGH))
    bar.set_ticks(_LEVELS[::2].tolist(), labels=[f"{100 * level:.0f}{sign}" for level in _LEVELS[::2]])
    bar.ax.tick_params(labelsize=SMALL, length=2)


def _limits(axes: Axes, series: MeltSeries, best: BestSetting, across: int, up: int) -> None:
    """Hatch what a limit forbids, the other factors held."""
    if not series.limits:
        return
    x, y = np.linspace(*axes.get_xlim(), _FINE), np.linspace(*axes.get_ylim(), _FINE)
    broken = ~series.allowed(turned(best.raw, {up: y, across: x})).reshape(_FINE, _FINE)
    if not broken.any():
        return
    axes.contourf(x, y, broken.astype(float), levels=[0.5, 1.5], colors=[(1, 1, 1, 0.55)], hatches=["////"], zorder=3)
    axes.contour(x, y, broken.astype(float), levels=[0.5], colors=BLACK, linewidths=1.1, zorder=3)


def _melts(axes: Axes, x: Amount, y: Amount, points: FloatArray, succeeded: tuple[bool | None, ...]) -> None:
    """Melts side by side where they coincide; moved on coded axes, so that a logarithmic axis does not matter."""
    known = np.asarray(np.isfinite(points).all(axis=1)).reshape(-1)
    coded = np.column_stack([x.coded(points[known, 0]), y.coded(points[known, 1])])
    moved = spread_out(np.round(coded, 6), (0.08, 0.11))
    places = np.column_stack([x.decoded(moved[:, 0]), y.decoded(moved[:, 1])])
    put_marks(axes, places, [good for good, shown in zip(succeeded, known, strict=True) if shown])


def _planned(x: Amount, y: Amount, grids: list[FloatArray]) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Where both factors keep to their planned ranges; the map goes on a little beyond."""
    across, up = (
        (factor.low <= values) & (values <= factor.high) for factor, values in zip((x, y), grids, strict=True)
    )
    return np.asarray(up[:, None] & across)


def _alt(
    best: BestSetting,
    level: float,
    x: Amount,
    y: Amount,
    grids: list[FloatArray],
    mean: FloatArray,
    width: FloatArray,
) -> str:
    low, high = (
        np.unravel_index(int(np.nanargmin(mean)), mean.shape),
        np.unravel_index(int(np.nanargmax(mean)), mean.shape),
    )
    ends = [
        f"{percent(float(mean[at]))} near {x.name} {x.show(float(f'{grids[0][at[1]]:.3g}'))}, {y.name} "
        f"{y.show(float(f'{grids[1][at[0]]:.3g}'))}"
        for at in (low, high)
    ]
    return one_line(
        f"Within ranges and limits the average chance runs from {ends[0]} to {ends[1]}; at the best setting it is "
        f"{percent(best.chance)}, {interval_phrase(best.low, best.high, level)}. The interval is between "
        f"{100 * width.min():.0f} and {100 * width.max():.0f} points wide."
    )

"""The chance of success along one amount, a panel for each option of the other factor that matters most."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import interval_phrase, level_phrase, percent
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.report.figures.held import held_phrase, turned
from meltdoe.report.figures.melt_marks import counted_sentence, key_of_marks, outcomes_of, put_marks, spread_out
from meltdoe.report.figures.style import (
    BEST,
    BLUE,
    GREY,
    PALE,
    TEXT,
    WIDTH,
    Picture,
    amount_range,
    drawing,
    factor_axis,
    in_inches,
    new_figure,
)
from meltdoe.report.plain_text import one_line, shortened
from meltdoe.series.factor import Amount, FloatArray

__all__ = ["chance_curves"]

_POINTS = 61
_MOST_PANELS = 4
_HIGH, _BETWEEN, _LEFT = 1.3, 0.52, 0.72  # inches
_GOOD_AT, _BAD_AT, _UNKNOWN_AT = 1.1, -0.1, 0.5  # where melts stand beside the curve


def chance_curves(chain: ChainFit, best: BestSetting, across: int, listed: int | None) -> Picture:
    """Average chance with its interval along an amount.

    Parameters
    ----------
    across : position of the amount. listed : position of a choice or ordered factor that gives the panels, or None.
    """
    series = chain.series
    x = series.factors[across]
    assert isinstance(x, Amount)
    raw, succeeded = chain.log.raw, outcomes_of(chain.log)
    counted = counted_sentence(chain.log, (across,) if listed is None else (across, listed))
    options = _options(chain, best, listed)
    ends = x.coded(np.array(amount_range(x, raw[:, across])))
    along = x.decoded(np.linspace(ends[0], ends[1], _POINTS))
    told = []
    with drawing():
        tall = len(options) * (_HIGH + _BETWEEN)
        figure = new_figure(0.32 + 0.45 + tall)
        for place, option in enumerate(options):
            bottom = 0.32 + 0.45 + (len(options) - 1 - place) * (_HIGH + _BETWEEN)
            axes = in_inches(figure, _LEFT, bottom, WIDTH - _LEFT - 0.15, _HIGH)
            base = best.raw.copy()
            rows = np.ones(len(raw), dtype=bool)
            if listed is not None:
                base[listed], rows = option, raw[:, listed] == option
            table = turned(base, {across: along})
            _curve(axes, chain, table, along)
            _melts(axes, x, raw[rows, across], [good for good, here in zip(succeeded, rows, strict=True) if here])
            factor_axis(axes, "x", x, raw[:, across], label=place == len(options) - 1)
            if listed is None or best.raw[listed] == option:
                axes.plot(best.raw[across], best.chance, "*", ms=14, mfc=BEST.face, mec=BEST.edge, mew=0.8, zorder=5)
            if listed is not None:
                name = series.factors[listed]
                axes.set_title(
                    f"{shortened(name.title, 34)}: {shortened(name.show(option), 24)}",
                    fontsize=TEXT,
                    loc="left",
                    pad=10,
                )
            told.append(_told(chain, table, along, x, "" if listed is None else series.factors[listed].show(option)))
        key_of_marks(figure, succeeded)
    names = [x.name, *([] if listed is None else [series.factors[listed].name])]
    held = held_phrase(chain, best, (across, *([] if listed is None else [listed])))
    hatched = bool(series.limits) and not bool(series.allowed(turned(best.raw, {across: along})).all())
    dropped = 0 if listed is None else len(series.factors[listed].grid()) - len(options)
    return Picture(
        "chance-map",
        figure,
        f"Chance of success along {one_line(' and '.join(names))}",
        one_line(" ".join(told)) + f" At the best setting the chance is {percent(best.chance)}, "
        f"{interval_phrase(best.low, best.high, chain.level)}. {counted}",
        (f"Other factors {held}. " if held else "")
        + "Line: average chance that everything that is judged is good; band: its interval, "
        f"{level_phrase(chain.level)}; dotted: the chance wanted. Melts stand above the curve where all was "
        "good, below it where something was not, whatever their other settings were. "
        f"{'Hatched: a limit forbids it. ' if hatched else ''}"
        + (f"{dropped} further options are not drawn. " if dropped else "")
        + counted,
    )


def _options(chain: ChainFit, best: BestSetting, listed: int | None) -> list[float]:
    """The options that get a panel: all, or the best and those melted most."""
    if listed is None:
        return [0.0]
    grid = chain.series.factors[listed].grid().tolist()
    used = chain.log.raw[:, listed]
    ranked = sorted(grid, key=lambda option: (option != best.raw[listed], -int((used == option).sum()), option))
    return sorted(ranked[:_MOST_PANELS])


def _curve(axes: Axes, chain: ChainFit, table: FloatArray, along: FloatArray) -> None:
    chance = chain.chance(table)
    axes.fill_between(along, chance.low, chance.high, color="#CFE3F2", lw=0, zorder=1)
    for edge in (chance.low, chance.high):
        axes.plot(along, edge, color=BLUE, lw=0.6, ls=(0, (3, 2)), zorder=2)
    axes.plot(along, chance.mean, color=BLUE, lw=1.8, zorder=3)
    axes.axhline(chain.series.target_chance, color=GREY, lw=0.8, ls=(0, (1, 1.5)), zorder=1)
    axes.set(ylim=(-0.2, 1.2))
    axes.set_yticks([0, 0.5, 1], ["0 %", "50 %", "100 %"])
    axes.spines["left"].set_bounds(0, 1)
    axes.axhline(0, color=PALE, lw=0.6, zorder=0)
    axes.axhline(1, color=PALE, lw=0.6, zorder=0)
    broken = ~chain.series.allowed(table)
    if broken.any():
        axes.fill_between(along, 0, 1, where=broken, facecolor="none", edgecolor=GREY, hatch="////", lw=0, zorder=4)


def _melts(axes: Axes, x: Amount, values: FloatArray, succeeded: list[bool | None]) -> None:
    heights = [{True: _GOOD_AT, False: _BAD_AT, None: _UNKNOWN_AT}[good] for good in succeeded]
    known = np.isfinite(values)
    coded = np.column_stack([np.round(x.coded(values[known]), 6), np.asarray(heights)[known]])
    moved = spread_out(coded, (0.045, 0.0))
    places = np.column_stack([x.decoded(moved[:, 0]), moved[:, 1]])
    put_marks(axes, places, [good for good, shown in zip(succeeded, known, strict=True) if shown], 5.0)


def _told(chain: ChainFit, table: FloatArray, along: FloatArray, x: Amount, option: str) -> str:
    mean = chain.chance(table[[0, -1]]).mean
    where = f"With {option}, the" if option else "The"
    return (
        f"{where} average chance goes from {percent(float(mean[0]))} at {x.show(float(f'{along[0]:.4g}'))} to "
        f"{percent(float(mean[1]))} at {x.show(float(f'{along[-1]:.4g}'))}."
    )

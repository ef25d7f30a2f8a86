"""The chance of success at every pair of options, where the factors that matter most are choices."""

from __future__ import annotations

import numpy as np
from matplotlib.patches import Rectangle

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import level_phrase, percent
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.report.figures.held import held_phrase, turned
from meltdoe.report.figures.melt_marks import counted_sentence, outcomes_of
from meltdoe.report.figures.style import PALE, SMALL, SURE, TEXT, WIDTH, Picture, drawing, in_inches, new_figure, quiet
from meltdoe.report.plain_text import one_line, shortened, wrapped
from meltdoe.series.factor import FloatArray

__all__ = ["chance_grid"]

_MOST = 6  # options on an axis
_ROW, _HEAD, _LEFT = 0.62, 0.58, 1.15  # inches


def chance_grid(chain: ChainFit, best: BestSetting, across: int, up: int | None) -> Picture:
    """A cell for each pair of options: mean chance as shade and number, its interval, how many melts there were good.

    Parameters
    ----------
    across, up : positions of one or two choices or ordered factors.
    """
    series, succeeded = chain.series, outcomes_of(chain.log)
    places = (across,) if up is None else (up, across)
    options = {place: _options(chain, best, place) for place in places}
    table = turned(best.raw, options)
    chance = chain.chance(table)
    n_columns = len(options[across])
    n_rows = len(table) // n_columns
    told = []
    with drawing():
        figure = new_figure(_HEAD + _ROW * n_rows + 0.08)
        axes = in_inches(figure, _LEFT, 0.08, WIDTH - _LEFT - 0.1, _ROW * n_rows)
        quiet(axes, "left", "bottom", "top", "right")
        for k, raw in enumerate(table):
            i, j = divmod(k, n_columns)
            shade = SURE(float(chance.mean[k]))
            axes.add_patch(Rectangle((j - 0.5, i - 0.5), 1, 1, facecolor=shade, edgecolor=PALE, lw=0.8))
            mean, ends = (
                percent(float(chance.mean[k])),
                f"{percent(float(chance.low[k]))} to {percent(float(chance.high[k]))}",
            )
            counted = _counted(chain.log.raw, succeeded, raw, places)
            star = "★ " if bool((raw == best.raw).all()) else ""
            forbidden = "" if bool(series.allowed(raw[None])[0]) else " (forbidden)"
            for y, says, size in ((-0.22, f"{star}{mean}{forbidden}", TEXT), (0.05, ends, 6.6), (0.29, counted, 6.6)):
                axes.text(j, i + y, says, ha="center", va="center", fontsize=size)
            pair = ", ".join(f"{series.factors[p].name} {series.factors[p].show(raw[p])}" for p in places)
            told.append(f"{pair}: {mean}{forbidden}, {ends}, {counted}.")
        axes.set(xlim=(-0.5, n_columns - 0.5), ylim=(n_rows - 0.5, -0.5))
        for j, option in enumerate(options[across]):
            name = wrapped(series.factors[across].show(option), max(6, int(46 / n_columns)), 2)
            axes.text(j, -0.56, name, ha="center", va="bottom", fontsize=SMALL, linespacing=1.0)
        inch = (WIDTH - _LEFT - 0.1) / n_columns  # a column's width
        for i, option in enumerate([] if up is None else options[up]):
            name = wrapped(series.factors[places[0]].show(option), 15, 3)
            axes.text(-0.5 - 0.08 / inch, i, name, ha="right", va="center", fontsize=SMALL)
        axes.text(0.5, 1 + (_HEAD - 0.06) / (_ROW * n_rows), shortened(series.factors[across].title, 44), fontsize=TEXT,
                  ha="center", va="top", transform=axes.transAxes)  # fmt: skip
        if up is not None:
            name = wrapped(series.factors[up].title, 16, 2)
            figure.text(0.02, 1 - 0.06 / figure.get_size_inches()[1], name, fontsize=TEXT, va="top")
    names = " and ".join(series.factors[place].name for place in reversed(places))
    held = held_phrase(chain, best, places)
    return Picture(
        "chance-map",
        figure,
        f"Chance of success at the options of {one_line(names)}",
        one_line(" ".join(told)),
        (f"Other factors {held}. " if held else "")
        + "In each cell: average chance that everything that is judged is good, its interval "
        f"({level_phrase(chain.level)}), and how many melts with these options were good throughout, whatever their "
        f"other settings were; star: the best setting. {counted_sentence(chain.log, places)}",
    )


def _options(chain: ChainFit, best: BestSetting, place: int) -> FloatArray:
    """The options shown: all, or the best and those melted most."""
    grid = chain.series.factors[place].grid().tolist()
    used = chain.log.raw[:, place]
    ranked = sorted(grid, key=lambda option: (option != best.raw[place], -int((used == option).sum()), option))
    return np.array(sorted(ranked[:_MOST]))


def _counted(raw: FloatArray, succeeded: tuple[bool | None, ...], here: FloatArray, places: tuple[int, ...]) -> str:
    same = [good for row, good in zip(raw, succeeded, strict=True) if all(row[p] == here[p] for p in places)]
    known = [good for good in same if good is not None]
    return f"{known.count(True)} of {len(known)} good" if known else "no melt"

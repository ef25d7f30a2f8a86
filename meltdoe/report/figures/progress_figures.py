"""How the best chance came up over the series: after each firing the chances of what was then the best setting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltdoe.errors import Inestimable
from meltdoe.fit.checks.past_fits import PastFits
from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import level_phrase, percent
from meltdoe.report.figures.style import (
    BLUE,
    MELT_MARKS,
    MICRO,
    SMALL,
    VERMILION,
    WIDTH,
    Picture,
    drawing,
    in_inches,
    key_line,
    new_figure,
    quiet,
)

__all__ = ["progress_picture"]

_POINTS, _MANY_FACTORS, _POINTS_OF_MANY = 8, 12, 4  # points shown
_LEFT, _RIGHT, _TALL, _RUG, _FOOT = 0.62, 0.15, 1.9, 0.2, 0.68  # inches

_CHANCES = ("chance", "low", "high")


@dataclass(frozen=True, slots=True)
class _Point:
    """What was known after a number of castings."""

    castings: int
    firings: int
    best: BestSetting


def progress_picture(past: PastFits, best: BestSetting) -> Picture | None:
    """The best setting's chance after each firing, with its interval; None for fewer than two firings.

    The last point is `best` itself; the others are quick fits of the castings made until then.
    """
    chain, order = past.chain, past.order
    if len(order) < 2:
        return None
    points = _points(past, best)
    entries = sorted(chain.log.entries, key=lambda e: (order.index(e.firing), e.melt, e.mould))
    count = np.array([point.castings for point in points])
    mean, low, high = (100 * np.array([getattr(point.best, name) for point in points]) for name in _CHANCES)
    target = 100 * chain.series.target_chance
    n = len(entries)
    what = "castings" if chain.series.moulds_per_melt > 1 else "melts"
    with drawing():
        figure = new_figure(_FOOT + _RUG + _TALL + 0.12)
        wide = WIDTH - _LEFT - _RIGHT
        axes = in_inches(figure, _LEFT, _FOOT + _RUG, wide, _TALL, xlim=(-0.5, n + 0.6), ylim=(0, 100))
        axes.axhline(target, color=VERMILION, lw=1.1, ls=(0, (5, 3)))
        on_white = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
        axes.text(0.3, target, f"wanted {target:g} %", fontsize=MICRO, va="center", bbox=on_white)
        axes.vlines(count, low, high, color=BLUE, lw=3.2, alpha=0.45)
        axes.plot(count, mean, "-", color=BLUE, lw=1.0)
        axes.plot(count, mean, "o", ms=5.0, mfc=BLUE, mec="white", mew=0.7)
        axes.set_yticks([0, 25, 50, 75, 100])
        axes.set_ylabel("chance of success at the\nbest setting then known (%)", fontsize=SMALL)
        quiet(axes, "bottom")
        rug = in_inches(figure, _LEFT, _FOOT, wide, _RUG, xlim=axes.get_xlim(), ylim=(0, 1))
        quiet(rug, "left")
        for i, entry in enumerate(entries, 1):
            mark = MELT_MARKS[chain.log.succeeded(entry)]
            rug.plot(i, 0.5, mark.marker, ms=4.6, mfc=mark.face, mec=mark.edge, mew=0.6, clip_on=False)
        rug.set_xticks(_ticks(n))
        rug.set_xlabel(f"{what} made", fontsize=SMALL)
        looks = [
            ({"marker": m.marker, "ms": 4.6, "mfc": m.face, "mec": m.edge, "mew": 0.6}, m.says)
            for m in MELT_MARKS.values()
        ]
        key_line(
            figure, [({"marker": "|", "ms": 9, "mec": BLUE, "mew": 3}, f"{100 * chain.level:g} % interval"), *looks]
        )
    first, last = points[0].best, points[-1].best
    return Picture(
        "progress",
        figure,
        "How the best chance came up over the series",
        f"The chance of success at the best setting went from {percent(first.chance)} ({percent(first.low)} to "
        f"{percent(first.high)}) {_after(points[0], what)} to {percent(last.chance)} ({percent(last.low)} to "
        f"{percent(last.high)}) {_after(points[-1], what)}; {percent(chain.series.target_chance)} was wanted.",
        f"Dots: mean chance that all is good at the setting that was the best by what was known then; bars: "
        f"{level_phrase(chain.level)}; n = {n} {what} in {len(order)} firings, below in the order of the work by how "
        "they ended. The last dot is the fit of this report, the others are quick fits of what had been made by then. "
        "The best of many settings tends to look better than it is, so an early dot that lies high is no promise.",
    )


def _points(past: PastFits, best: BestSetting) -> list[_Point]:
    chain = past.chain
    most = _POINTS if len(chain.series.factors) <= _MANY_FACTORS else _POINTS_OF_MANY
    stops = np.array(past.stops)
    chosen = np.unique(np.rint(np.linspace(0, len(stops) - 1, min(most - 1, len(stops)))).astype(int))
    found = []
    for stop in stops[chosen].tolist():
        then = past.after(stop)
        try:
            found.append(_Point(len(then.log.entries), stop, then.best()))
        except Inestimable:
            continue
    return [*found, _Point(len(chain.log.entries), len(past.order), best)]


def _ticks(n: int) -> list[int]:
    step = max(1, -(-n // 10))
    return list(range(0, n + 1, step))


def _after(point: _Point, what: str) -> str:
    if not point.castings:
        return f"before the first of the {what}"
    return f"after {point.castings} {what}"

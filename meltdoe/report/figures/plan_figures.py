"""The plan as a picture: a lane for each factor, the melts from left to right in the order of the work.

What is set once for a firing is a bar as long as the firing; what is set for each melt is a dot.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from meltdoe.fit.stages.phrases import listed
from meltdoe.log.melt_log import Log
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.report.figures.style import (
    BLACK,
    BLUE,
    GREY,
    MICRO,
    PALE,
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
from meltdoe.report.plain_text import one_line, shortened, wrapped
from meltdoe.series.factor import Amount, Factor, FloatArray

__all__ = ["plan_picture"]

_LEFT, _RIGHT, _TOP, _BOTTOM = 1.55, 0.08, 0.44, 0.36  # inches
_GAP = 0.7  # between firings, in melts
_OPTION = 0.165  # inches of height for an option
_MANY = 12  # factors from which lanes are drawn low
_KEY: tuple[tuple[dict[str, Any], str], ...] = (
    ({"marker": "_", "ms": 8, "mec": BLUE, "mew": 2.6}, "one firing"),
    ({"marker": "o", "ms": 4.5, "mec": BLUE, "mfc": BLUE}, "made"),
    ({"marker": "o", "ms": 4.5, "mec": BLUE, "mfc": "white"}, "to be made"),
    ({"marker": "x", "ms": 4.5, "mec": VERMILION, "mew": 1.4}, "really set here"),
)


def plan_picture(plan: Plan, log: Log) -> Picture:
    """Every planned melt with its settings; those already made are filled, other actual settings are crossed in."""
    series = plan.series
    melts = sorted(plan.melts, key=lambda melt: (melt.order, melt.melt))
    places = _places(melts)
    least, between = (0.36, 0.07) if len(series.factors) <= _MANY else (0.24, 0.04)
    heights = [
        least if isinstance(factor, Amount) else max(least, _OPTION * len(factor.options)) for factor in series.factors
    ]
    tall = sum(heights) + between * len(heights)
    made = {entry.melt: series.raw(entry.settings) for entry in log.entries}
    raw = series.raw_table(melt.settings for melt in melts)
    with drawing():
        figure = new_figure(_TOP + tall + _BOTTOM)
        wide = WIDTH - _LEFT - _RIGHT
        y = _BOTTOM + tall
        span = (-0.6, places[-1] + 0.6)
        for i, (factor, height) in enumerate(zip(series.factors, heights, strict=True)):
            y -= height
            lane = in_inches(figure, _LEFT, y, wide, height, xlim=span)
            _lane(lane, factor)
            _settings(lane, factor, melts, places, raw[:, i], {melt: row[i] for melt, row in made.items()})
            y -= between
        _heads(in_inches(figure, _LEFT, _BOTTOM + tall, wide, _TOP, xlim=span, ylim=(0, 1)), melts, places)
        key_line(figure, _KEY)
    n_firings = len({melt.firing for melt in melts})
    held = [factor.name for factor in series.factors if factor.set_per == "firing"]
    together = f" {listed(held)} {'is' if len(held) == 1 else 'are'} set once for each firing." if held else ""
    count = f"{len(melts)} melt{'s' * (len(melts) != 1)} in {n_firings} firing{'s' * (n_firings != 1)}"
    done = sum(melt.melt in made for melt in melts)
    return Picture(
        "plan",
        figure,
        "The plan, melt by melt in the order of the work",
        f"{count} over {len(series.factors)} factor{'s' * (len(series.factors) != 1)}, {done} of them made.{together} "
        + " ".join(_spread(factor, raw[:, i]) for i, factor in enumerate(series.factors[:8]))
        + (f" {len(series.factors) - 8} more factors are drawn." if len(series.factors) > 8 else ""),
        f"{count}. A lane is a factor, from its lowest setting at the bottom to its highest at the top. A bar is a "
        "setting held through a firing, a dot one that is set for each melt; filled: made; open: still to be made; "
        "cross: where a melt was really set, if not as planned.",
    )


def _places(melts: Sequence[PlannedMelt]) -> list[float]:
    """Places along the work, a gap wherever the firing changes."""
    places, gap = [], 0.0
    for i, melt in enumerate(melts):
        gap += _GAP if i and melt.firing != melts[i - 1].firing else 0.0
        places.append(i + gap)
    return places


def _lane(lane: Axes, factor: Factor) -> None:
    quiet(lane, "top", "right", "bottom")
    lane.set_facecolor("#F6F6F6")
    lane.spines["left"].set_color(PALE)
    if isinstance(factor, Amount):
        low, high = -1.0, 1.0  # coded
        lane.set_ylim(low - 0.45, high + 0.45)
        lane.set_yticks([low, high], [f"{factor.low:g}", f"{factor.high:g}"])
    else:
        lane.set_ylim(-0.6, len(factor.options) - 0.4)
        lane.set_yticks(range(len(factor.options)), [shortened(option, 10) for option in factor.options])
    lane.tick_params(axis="y", length=0, pad=2, labelsize=MICRO)
    name = factor.name.replace("_", " ")
    unit = f" ({shortened(factor.unit, 8)})" if isinstance(factor, Amount) and factor.unit else ""
    name = wrapped(f"{shortened(name, 26 - len(unit))}{unit}", 14, 2)
    edge = -(_LEFT - 0.06) / (WIDTH - _LEFT - _RIGHT)
    lane.text(edge, 0.5, name, transform=lane.transAxes, fontsize=SMALL, va="center", linespacing=1.0)


def _height(factor: Factor, raw: float) -> float:
    return float(factor.coded(np.asarray(raw))) if isinstance(factor, Amount) else raw


def _settings(
    lane: Axes,
    factor: Factor,
    melts: Sequence[PlannedMelt],
    places: Sequence[float],
    planned: FloatArray,
    made: Mapping[int, float],
) -> None:
    for _, group in groupby(range(len(melts)), key=lambda i: (melts[i].firing, planned[i])):
        run = list(group)
        if factor.set_per == "firing":
            y = _height(factor, planned[run[0]])
            lane.plot([places[run[0]] - 0.3, places[run[-1]] + 0.3], [y, y], color=BLUE, lw=3.2, solid_capstyle="butt")
            continue
        for i in run:
            filled = melts[i].melt in made
            lane.plot(places[i], _height(factor, planned[i]), "o", ms=4.2, mec=BLUE, mfc=BLUE if filled else "white")
    low, high = lane.get_ylim()
    for i, melt in enumerate(melts):
        real = made.get(melt.melt)
        if real is not None and real == real and abs(real - planned[i]) > 1e-9 * max(1.0, abs(planned[i])):
            y = min(max(_height(factor, real), low), high)
            lane.plot(places[i], y, "x", ms=4.5, color=VERMILION, mew=1.4, clip_on=False)


def _heads(heads: Axes, melts: Sequence[PlannedMelt], places: Sequence[float]) -> None:
    quiet(heads, "left", "bottom", "top", "right")
    heads.set_facecolor("none")
    per_inch = (WIDTH - _LEFT - _RIGHT) / (places[-1] + 1.2)
    every = max(1, round(0.15 / per_inch + 0.49)) if per_inch < 0.13 else 1
    for i, (melt, place) in enumerate(zip(melts, places, strict=True)):
        if i % every == 0:
            heads.text(place, 0.08, str(melt.melt), fontsize=SMALL, ha="center", va="bottom")
    last = -9.0
    for firing, group in groupby(range(len(melts)), key=lambda i: melts[i].firing):
        run = list(group)
        ends = places[run[0]] - 0.3, places[run[-1]] + 0.3
        heads.plot(ends, [0.5, 0.5], color=GREY, lw=0.8)
        middle = sum(ends) / 2
        if (middle - last) * per_inch > 0.17:
            heads.text(middle, 0.56, str(firing), fontsize=SMALL, color=GREY, ha="center", va="bottom")
            last = middle
    for y, says, colour in ((0.08, "melt", BLACK), (0.56, "firing", GREY)):
        heads.text(-0.03, y, says, fontsize=SMALL, color=colour, ha="right", va="bottom", transform=heads.transAxes)


def _spread(factor: Factor, raw: FloatArray) -> str:
    """How often each setting is planned, or how many settings there are."""
    values = sorted(set(raw.tolist()))
    if len(values) > 3:
        shown = f"{len(values)} settings from {one_line(factor.show(values[0]))} to {one_line(factor.show(values[-1]))}"
    else:
        counts = [int((raw == value).sum()) for value in values]
        shown = ", ".join(
            f"{shortened(factor.show(value), 40)} in {count} melt{'s' * (count != 1)}"
            for value, count in zip(values, counts, strict=True)
        )
    return f"{one_line(factor.name)}: {shown}."

"""What the model expects for the melts made, beside what was seen: a check that it describes them at all."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from meltdoe.fit.stages.phrases import capital, level_phrase, measure
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.report.figures.style import (
    BLUE,
    GOOD,
    GREY,
    MICRO,
    NOT_GOOD,
    PALE,
    SMALL,
    VERMILION,
    WIDTH,
    Picture,
    drawing,
    file_name,
    in_inches,
    new_figure,
    quiet,
)
from meltdoe.report.plain_text import one_line, shortened, wrapped
from meltdoe.series.factor import FloatArray

__all__ = ["measured_picture", "predicted_picture"]

_LANE, _LEFT, _RIGHT = 0.82, 1.05, 0.88  # inches


def predicted_picture(chain: ChainFit) -> Picture | None:
    """Expected chance of every melt at every stage it reached, against good or not; None where nothing was judged."""
    stages = [stage for stage in chain.stages if stage.outcome.counts and stage.n_seen]
    if not stages:
        return None
    told = []
    with drawing():
        tall = _LANE * len(stages)
        figure = new_figure(0.08 + tall + 0.55)
        axes = in_inches(figure, _LEFT, 0.55, WIDTH - _LEFT - _RIGHT, tall)
        axes.set(xlim=(-0.03, 1.03), ylim=(len(stages) - 0.5, -0.5))
        quiet(axes, "left", "top", "right")
        axes.set_xticks([0, 0.25, 0.5, 0.75, 1], ["0 %", "25 %", "50 %", "75 %", "100 %"])
        axes.set_xlabel("expected chance of good, once a melt gets there", fontsize=SMALL)
        edge = axes.get_yaxis_transform()
        left = -(_LEFT - 0.06) / (WIDTH - _LEFT - _RIGHT)
        for lane, stage in enumerate(stages):
            chances = stage.chance_draws(stage.data.raw)
            expected = float(chances.mean())
            _lane(axes, lane, chances, stage.data.good, stage.level)
            title = wrapped(stage.outcome.name.replace("_", " "), 12, 2)
            axes.text(left, lane, title, fontsize=SMALL, va="center", transform=edge)
            for shift, says in ((-0.2, "good"), (0.2, "not")):
                axes.text(
                    -0.03, lane + shift, says, fontsize=MICRO, color=GREY, ha="right", va="center", transform=edge
                )
            n = stage.n_seen
            for shift, says in ((-0.13, f"expected {expected * n:.1f}"), (0.13, f"seen {stage.n_good} of {n}")):
                axes.text(1.04, lane + shift, says, fontsize=MICRO, va="center", transform=edge)
            name = stage.outcome.name.replace("_", " ")
            told.append(f"{name}: expected {expected * n:.1f} good of {n}, seen {stage.n_good}.")
    n_rows = len(chain.log.entries)
    return Picture(
        "predicted",
        figure,
        "What the model expects of the melts made, and what was seen",
        one_line(" ".join(told)),
        f"{n_rows} melt{'s' * (n_rows != 1)}, each at every judged stage it reached: its mark at the average expected "
        f"chance, its line the interval ({level_phrase(chain.level)}); upper half of a lane: was good, lower half: was "
        "not. A model that describes the melts has the upper ones to the right of the lower ones. It has seen these "
        "very melts, so this flatters it.",
    )


def _lane(
    axes: Axes,
    lane: int,
    chances: FloatArray,
    good: FloatArray | np.ndarray[tuple[int], np.dtype[np.bool_]],
    level: float,
) -> None:
    axes.axhline(lane + 0.5, color=GREY, lw=0.6)
    axes.axhline(lane, color=PALE, lw=0.6)
    mean = chances.mean(axis=0)
    low, high = np.quantile(chances, [(1 - level) / 2, (1 + level) / 2], axis=0)
    for is_good, mark in ((True, GOOD), (False, NOT_GOOD)):
        members = np.flatnonzero(good == is_good)
        members = members[np.argsort(mean[members], kind="stable")]
        for place, i in enumerate(members):
            inside = (place + 0.5) / len(members) - 0.5
            y = lane + (-0.24 if is_good else 0.24) + 0.4 * inside
            axes.plot([low[i], high[i]], [y, y], color=BLUE if is_good else VERMILION, lw=0.9)
            axes.plot(mean[i], y, mark.marker, ms=4.4, mfc=mark.face, mec=mark.edge, mew=0.7, zorder=5)


def measured_picture(stage: StageFit, position: int) -> Picture | None:
    """Expected against measured values; None for other outcomes and where fewer than three were measured."""
    outcome = stage.outcome
    if outcome.kind != "measured" or stage.n_seen < 3:
        return None
    draws = stage.posterior.linear(stage.model_matrix(stage.data.raw))
    mean = draws.mean(axis=0)
    low, high = np.quantile(draws, [(1 - stage.level) / 2, (1 + stage.level) / 2], axis=0)
    if outcome.bounds is not None:  # beyond a bound the model means: on it
        mean, low, high = (np.clip(values, *outcome.bounds) for values in (mean, low, high))
    seen, unit = stage.data.y, one_line(outcome.unit)
    label = shortened(outcome.name.replace("_", " "), 24)
    with drawing():
        figure = new_figure(3.3)
        axes = in_inches(figure, 0.72, 0.55, WIDTH - 0.9, 2.6)
        ends = [float(min(seen.min(), low.min())), float(max(seen.max(), high.max()))]
        pad = 0.05 * (ends[1] - ends[0] or 1.0)
        ends = [ends[0] - pad, ends[1] + pad]
        axes.plot(ends, ends, color=GREY, lw=0.9, ls=(0, (4, 2)))
        for x, y, a, b, good in zip(seen, mean, low, high, stage.data.good, strict=True):
            axes.plot([x, x], [a, b], color=BLUE, lw=1.1)
            mark = GOOD if good or not outcome.counts else NOT_GOOD
            axes.plot(x, y, mark.marker, ms=5, mfc=mark.face, mec=mark.edge, mew=0.7, zorder=5)
        axes.set(xlim=ends, ylim=ends, xlabel=f"{label} measured" + (f" ({unit})" if unit else ""))
        axes.set_ylabel(f"{label} expected" + (f" ({unit})" if unit else ""))
    residual = float(np.sqrt(np.mean((seen - mean) ** 2)))
    return Picture(
        file_name("seen", position, outcome.name),
        figure,
        f"{capital(one_line(outcome.name))} as measured and as expected",
        f"{stage.n_seen} melts measured, {measure(float(seen.min()), unit)} to {measure(float(seen.max()), unit)}; "
        f"expected {measure(float(mean.min()), unit)} to {measure(float(mean.max()), unit)}; typical distance between "
        f"the two {measure(residual, unit)}.",
        f"{stage.n_seen} melts. Mark: average expected value at the melt's settings, line: its interval "
        f"({level_phrase(stage.level)}); on the dashed line both agree. Crosses were not good. The model has seen "
        "these very melts, so this flatters it."
        + (" Values on a bound are taken as that or beyond." if np.any(stage.data.censored) else ""),
    )

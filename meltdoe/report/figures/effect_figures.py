"""What each change of settings does to an outcome, with intervals, on the scale that people decide on."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from meltdoe.fit.stages.effects import Effect
from meltdoe.fit.stages.phrases import good_phrase, level_phrase, measure, percent, points
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.report.figures.style import (
    BLACK,
    BLUE,
    GREY,
    MICRO,
    PALE,
    SMALL,
    WIDTH,
    Picture,
    drawing,
    file_name,
    in_inches,
    new_figure,
    quiet,
)
from meltdoe.report.plain_text import one_line, shortened, wrapped
from meltdoe.report.tables import times
from meltdoe.series.factor import Amount

__all__ = ["effect_picture"]

_PLACE = re.compile(r"(?:in|at) the (middle|ends) \((.*)\)")
_MOST = 12  # effects in one figure; the table holds all
_ROW, _HEAD, _FOOT = 0.44, 0.26, 0.46  # inches
_LEFT, _RIGHT = 1.5, 1.0


@dataclass(frozen=True, slots=True)
class _Change:
    """One row: a change of settings with what it does. Chances in points, values in the outcome's unit."""

    effect: Effect
    middle: float
    low: float
    high: float
    start: str
    end: str
    counted: str


def effect_picture(stage: StageFit, position: int) -> Picture | None:
    """The effects on one outcome, strongest first; None where the melts can tell none of them apart.

    Parameters
    ----------
    position : of the outcome in the order of the work, for the name of the files.
    """
    changes = [change for effect in stage.effects if (change := _change(stage, effect)) is not None]
    if not changes or not stage.n_seen:
        return None
    changes.sort(key=lambda change: (-abs(change.middle), change.effect.label))
    shown = changes[:_MOST]
    outcome, level = stage.outcome, stage.level
    on_chances = shown[0].effect.value_from is None
    unit = "points" if on_chances else outcome.unit
    what = f"the chance of {good_phrase(outcome)}" if on_chances else outcome.name.replace("_", " ")
    with drawing():
        tall = _ROW * len(shown)
        figure = new_figure(_HEAD + tall + _FOOT)
        axes = in_inches(figure, _LEFT, _FOOT, WIDTH - _LEFT - _RIGHT, tall)
        _rows(axes, shown, on_chances)
        name = "the chance" if on_chances else shortened(what, 24)
        axes.set_xlabel(f"change of {name}" + (f" ({unit})" if unit else ""), fontsize=SMALL)
        axes.xaxis.set_label_coords(0.5, -0.3 / tall)
    shown_of = "" if len(shown) == len(changes) else f" The {len(shown)} strongest of {len(changes)} are drawn."
    untold = len(stage.effects) - len(changes)
    cannot = (
        f" {untold} further change{'s are' if untold != 1 else ' is'} not drawn: the melts cannot tell "
        f"{'them' if untold != 1 else 'it'} from others."
        if untold
        else ""
    )
    return Picture(
        file_name("effects", position, outcome.name),
        figure,
        f"What each choice does to {one_line(what)}",
        " ".join(_told(change, unit) for change in shown) + shown_of + cannot,
        f"Each line is the interval that holds the change with {level_phrase(level)}, its mark the average change; the "
        f"mark is filled where the interval keeps clear of none. At the right the "
        + ("chance" if on_chances else "mean")
        + " before and after"
        + (", below it how many of the melts on either side were good" if any(c.counted for c in shown) else "")
        + f". {stage.n_seen} melt{'s were' if stage.n_seen != 1 else ' was'} seen, every other factor standing where "
        f"it stood in them.{shown_of}{cannot}",
    )


def _change(stage: StageFit, effect: Effect) -> _Change | None:
    if not effect.estimable:
        return None
    if effect.value_from is not None and effect.value_to is not None:
        ends = effect.value_low, effect.value_high
        start, end = measure(effect.value_from), measure(effect.value_to)
        middle = effect.value_to - effect.value_from
        scale = 1.0
    elif effect.chance_from is not None and effect.chance_to is not None:
        ends = effect.change_low, effect.change_high
        start, end = percent(effect.chance_from), percent(effect.chance_to)
        middle = 100 * (effect.chance_to - effect.chance_from)
        scale = 100.0
    else:
        return None
    if ends[0] is None or ends[1] is None:
        return None
    return _Change(effect, middle, scale * ends[0], scale * ends[1], start, end, _counted(stage, effect))


def _counted(stage: StageFit, effect: Effect) -> str:
    """Melts seen at either side of a main effect, "3/4 | 2/2"; empty where there are no two sides to count."""
    series = stage.series
    if effect.term.order != 1 or not stage.outcome.counts or series.derived_quantity(effect.term.factors[0]):
        return ""
    factor = series.factor(effect.term.factors[0])
    raw = stage.data.raw[:, series.factor_names.index(factor.name)]
    if isinstance(factor, Amount):
        middle = float(factor.decoded(np.zeros(1))[0])
        sides = raw < middle, raw > middle
    elif factor.kind == "choice":
        sides = raw == factor.options.index(effect.from_setting), raw == factor.options.index(effect.to_setting)
    else:
        middle = (len(factor.options) - 1) / 2
        sides = raw < middle, raw > middle
    return " | ".join(f"{int(stage.data.good[side].sum())}/{int(side.sum())}" for side in sides)


def _rows(axes: Axes, changes: Sequence[_Change], on_chances: bool) -> None:
    quiet(axes, "left", "top", "right")
    axes.set_ylim(len(changes) - 0.5, -0.5)
    ends = [end for change in changes for end in (change.low, change.high)]
    if on_chances:
        reach = min(100.0, max(20.0, 10.0 * np.ceil(max(map(abs, ends)) / 20) * 2))
        axes.set_xlim(-reach, reach)
        axes.set_xticks([-reach, -reach / 2, 0, reach / 2, reach])
        axes.xaxis.set_major_formatter(lambda value, _: f"{value:+g}" if value else "0")
    else:
        least, most = min(0.0, *ends), max(0.0, *ends)
        pad = 0.06 * (most - least or 1.0)
        axes.set_xlim(least - pad, most + pad)
        axes.locator_params(axis="x", nbins=4)
    axes.axvline(0, color=GREY, lw=0.9, ls=(0, (3, 2)))
    for y, change in enumerate(changes):
        axes.axhline(y + 0.5, color=PALE, lw=0.5)
        clear = change.low > 0 or change.high < 0
        axes.plot([change.low, change.high], [y, y], color=BLUE, lw=2.0, solid_capstyle="butt")
        axes.plot(change.middle, y, "o", ms=5.6, mec=BLUE, mew=1.4, mfc=BLUE if clear else "white")
        effect = change.effect
        at = axes.get_yaxis_transform()
        left = -(_LEFT - 0.08) / (WIDTH - _LEFT - _RIGHT)
        moved = wrapped(f"{_brief(effect.from_setting)} → {_brief(effect.to_setting)}", 25, 2)
        up = 0.29 if "\n" in moved else 0.2
        label = shortened(times(effect.label).replace("_", " "), 20)
        axes.text(left, y - up, label, fontsize=SMALL, va="center", transform=at)
        axes.text(left, y - up + 0.18, moved, fontsize=MICRO, color=GREY, va="top", transform=at, linespacing=1.05)
        axes.text(1.06, y - 0.2, f"{change.start} → {change.end}", fontsize=MICRO, va="center", transform=at)
        axes.text(1.06, y + 0.22, change.counted, fontsize=MICRO, color=GREY, va="center", transform=at)
    says = "chance" if on_chances else "mean"
    axes.text(1.06, -0.62, says, fontsize=SMALL, color=BLACK, va="bottom", transform=axes.get_yaxis_transform())


def _brief(setting: str) -> str:
    """A setting for a narrow place: "middle 22 wt%" for "in the middle (22 wt%)"."""
    return shortened(_PLACE.sub(r"\1 \2", setting), 26)


def _told(change: _Change, unit: str) -> str:
    effect = change.effect
    low, high = (
        (points(change.low / 100), points(change.high / 100))
        if unit == "points" and effect.value_from is None
        else (measure(change.low, sign=True), measure(change.high, sign=True))
    )
    move = one_line(f"{times(effect.label)} from {effect.from_setting} to {effect.to_setting}")
    return f"{move}: {change.start} to {change.end}, change between {low} and {high}{f' {unit}' if unit else ''}."

"""The schedule of a firing as a drawing for its page: temperature against hours, ready to be set as lines and text."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from meltdoe.sheets.kiln_schedule import KilnStep
from meltdoe.units import convert

__all__ = ["Curve", "ScheduleDrawing", "Tick", "schedule_drawing"]

_WIDTH, _HEIGHT = 720.0, 175.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 56.0, 12.0, 28.0, 24.0
_UNIT = 24.0  # where the axis ends stands its unit, and no number
_ROOM = 20.0  # °C
_DASHES = ("", "9 5", "2 4", "12 4 2 4")  # told apart in black and white
_STEPS = (1, 2, 5, 10, 20, 24, 48, 100, 200, 250, 500)


@dataclass(frozen=True, slots=True)
class Curve:
    """A line: its name, its corners as "x,y x,y ..." and its dashes."""

    name: str
    points: str
    dashes: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on an axis: where it stands and what it says."""

    at: float
    text: str


@dataclass(frozen=True, slots=True)
class ScheduleDrawing:
    """Everything in the units of a box of `width` by `height`.

    Parameters
    ----------
    left, right, top, bottom : edges of the field.
    hours, degrees : marks on the axes. described : what the drawing shows, for those who do not see it.
    """

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    curves: tuple[Curve, ...]
    hours: tuple[Tick, ...]
    degrees: tuple[Tick, ...]
    unit: str
    described: str


def schedule_drawing(
    heated: Sequence[KilnStep], cooled: Mapping[str, Sequence[KilnStep]], unit: str
) -> ScheduleDrawing | None:
    """The drawing of one firing, or None where there is no schedule.

    Parameters
    ----------
    heated : from the cold kiln to the pour. cooled : soak and cooling of the castings by name.
    unit : of temperature.
    """
    if not heated or heated[-1].start + heated[-1].hours <= 0.0:  # a kiln that need not be heated at all
        return None
    lines = {"kiln": [(0.0, _ROOM), *((step.start + step.hours, step.celsius) for step in heated)]}
    for name, steps in cooled.items():
        if steps:
            start = (steps[0].start, steps[0].celsius)
            lines[name] = [start, *((step.start + step.hours, step.celsius) for step in steps)]
    longest = max(hours for line in lines.values() for hours, _ in line)
    hottest = convert(max(celsius for line in lines.values() for _, celsius in line), "°C", unit)
    wide, high = _WIDTH - _LEFT - _RIGHT, _HEIGHT - _TOP - _BOTTOM

    def x(hours: float) -> float:
        return round(_LEFT + wide * hours / longest, 1)

    def y(degrees: float) -> float:
        return round(_TOP + high * (1.0 - degrees / hottest), 1)

    curves = tuple(
        Curve(
            name,
            " ".join(f"{x(hours):g},{y(convert(celsius, '°C', unit)):g}" for hours, celsius in line),
            _DASHES[i % len(_DASHES)],
        )
        for i, (name, line) in enumerate(lines.items())
    )
    return ScheduleDrawing(
        _WIDTH,
        _HEIGHT,
        _LEFT,
        _WIDTH - _RIGHT,
        _TOP,
        _HEIGHT - _BOTTOM,
        curves,
        tuple(
            Tick(x(hours), f"{hours:g}" if x(hours) < _WIDTH - _RIGHT - _UNIT else "") for hours in _marks(longest, 12)
        ),
        tuple(Tick(y(degrees), f"{degrees:g}") for degrees in _marks(hottest, 6)),
        unit,
        f"Temperature against hours: the kiln rises to {hottest:.0f} {unit}"
        + (f", and all is cold after {longest:.0f} hours." if len(lines) > 1 else f" in {longest:.0f} hours."),
    )


def _marks(end: float, most: int) -> list[float]:
    step = next((step for step in _STEPS if end / step <= most), math.ceil(end / most))
    return [float(step * i) for i in range(int(end // step) + 1)]

"""The schedule of a firing as a picture: temperature of the kiln by the hour, from cold to cold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import cycle

from meltdoe.report.figures.style import (
    BLACK,
    BLUE,
    GREY,
    MICRO,
    VERMILION,
    WIDTH,
    Picture,
    drawing,
    in_inches,
    new_figure,
)
from meltdoe.sheets.kiln_schedule import KilnStep
from meltdoe.units import convert

__all__ = ["kiln_picture"]

_LEFT, _RIGHT, _BOTTOM, _TALL, _TOP = 0.62, 0.12, 0.45, 2.3, 0.12  # inches
_ROOM = 20.0


def kiln_picture(
    heated: Sequence[KilnStep], cooled: Mapping[str, Sequence[KilnStep]], firing: int, melts: int, unit: str
) -> Picture | None:
    """Temperature against hours of one firing; None where there is no schedule.

    Parameters
    ----------
    heated : from the cold kiln to the pour.
    cooled : annealing by what it is called; one for all castings, or one for each.
    firing : its number.
    melts : how many share it.
    unit : of temperature.
    """
    if not heated:
        return None
    with drawing():
        figure = new_figure(_TOP + _TALL + _BOTTOM)
        axes = in_inches(figure, _LEFT, _BOTTOM, WIDTH - _LEFT - _RIGHT, _TALL)
        hours, heat = _line(heated, _ROOM, unit)
        axes.plot(hours, heat, "-", color=VERMILION)
        axes.plot(hours[-1], heat[-1], "v", color=BLACK, ms=6)
        axes.annotate("pour", (hours[-1], heat[-1]), (0, 6), textcoords="offset points", fontsize=MICRO, ha="center")
        ends = [hours[-1]]
        for (name, steps), style in zip(cooled.items(), cycle(("--", "-.", ":"))):
            later, fall = _line(steps, steps[0].celsius, unit)
            axes.plot(later, fall, style, color=BLUE, label=name)
            ends.append(later[-1])
        if cooled:
            axes.legend(loc="upper right")
        axes.set_xlim(0.0, 1.04 * max(ends))
        axes.set_ylim(0.0, 1.14 * max(heat))
        axes.set_xlabel("Hours from the cold kiln")
        axes.set_ylabel(f"Temperature ({unit})")
        axes.grid(axis="y", color=GREY, alpha=0.25, lw=0.5)
    together = f"{melts} melt{'s' if melts > 1 else ''}"
    return Picture(
        name="kiln",
        figure=figure,
        title=f"Schedule of firing {firing}",
        alt=_alt(heated, cooled, f"Firing {firing} of {together}", unit),
        caption=f"Kiln (solid) and annealer (broken) of firing {firing} with {together}. Heating rates are common "
        "practice; the cooling is worked out for glass, thickness and furnace.",
    )


def _line(steps: Sequence[KilnStep], begin: float, unit: str) -> tuple[list[float], list[float]]:
    hours, heat = [steps[0].start], [begin]
    for step in steps:
        hours.append(step.start + step.hours)
        heat.append(step.celsius)
    return hours, [convert(value, "°C", unit) for value in heat]


def _alt(heated: Sequence[KilnStep], cooled: Mapping[str, Sequence[KilnStep]], begin: str, unit: str) -> str:
    top = max(step.celsius for step in heated)
    said = [f"{begin} rises to {convert(top, '°C', unit):.0f} {unit} and is poured after {heated[-1].start:.0f} hours"]
    for name, steps in cooled.items():
        soak = f"{convert(steps[0].celsius, '°C', unit):.0f} {unit} for {steps[0].hours:.1f} hours"
        said.append(f"{name}: soak at {soak}, cold {steps[-1].start + steps[-1].hours:.0f} hours from the beginning")
    return "; ".join(said) + "."

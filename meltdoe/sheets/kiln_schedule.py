"""The schedule of one firing, hour by hour from a cold kiln: heating, melting, pour, annealing, and what to watch.

Heating up is slow to 600 °C for the crucible's sake (below 150 K/h), rests at 800 °C until charges that give off much
gas are quiet (700 to 900 °C), and goes on at 200 K/h or as the kiln allows: common practice, no source. Castings of one
firing share the annealer, so they share the hottest soak, the longest, and the slowest cooling of them all; where their
soaks lie more than 30 K apart the softest would sag (judgement, no source), and each has to be cooled by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.charge.cooling_plan import CoolingPlan
from meltdoe.charge.glass_at import pour_celsius
from meltdoe.glass.annealing import CoolingStep
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.series.factor import Amount
from meltdoe.series.melt_series import MeltSeries
from meltdoe.units import Quantity, convert

__all__ = ["KilnStep", "cool_together", "heating", "joint_cooling", "temperature_unit"]

_ROOM = 20.0
_GENTLE_TO, _GENTLE = 600.0, 150.0  # °C, K/h
_QUIET_AT, _QUIET_FOR = 800.0, 1.0  # °C, h
_RISE = 200.0  # K/h
_TOGETHER = 30.0  # K between the soaks of castings that are annealed together: judgement, no source
MUCH_GAS = 100.0
"""Litres per kg of charge at 1100 °C above which it has to rest until it is quiet: carbonates give 570 to 2000 per kg
of themselves, obsidian 6 to 40."""


@dataclass(frozen=True, slots=True)
class KilnStep:
    """One line of the schedule.

    Parameters
    ----------
    start : hours from the beginning.
    hours : how long it takes; 0 for a moment such as the pour.
    celsius : at its end.
    rate : K/h, upwards positive; 0 for a rest.
    what, watch : what to do and what to look for.
    """

    start: float
    hours: float
    celsius: float
    rate: float
    what: str
    watch: str


def heating(series: MeltSeries, melts: Sequence[PlannedMelt], gas: float | None) -> tuple[KilnStep, ...]:
    """From a cold kiln to the pour, or nothing where the series does not say at which temperature it pours.

    Parameters
    ----------
    melts : of one firing; the hottest and the longest hold count.
    gas : most litres of gas per kg of charge, or None where there is no recipe.
    """
    raw = series.raw_table(melt.settings for melt in melts)
    peaks = pour_celsius(series, raw)
    if peaks is None or not np.all(np.isfinite(peaks)):
        return ()
    peak = float(np.max(peaks))
    steps: list[KilnStep] = []
    at, clock = _ROOM, 0.0

    def go(to: float, rate: float, what: str, watch: str) -> None:
        nonlocal at, clock
        if to > at:
            steps.append(KilnStep(clock, (to - at) / rate, to, rate, what, watch))
            at, clock = to, clock + (to - at) / rate

    def rest(hours: float, what: str, watch: str) -> None:
        nonlocal clock
        steps.append(KilnStep(clock, hours, at, 0.0, what, watch))
        clock += hours

    go(min(_GENTLE_TO, peak), _GENTLE, "heat gently", "crucible whole, extraction on")
    if gas is not None and gas > MUCH_GAS and peak > _QUIET_AT:
        go(_QUIET_AT, _RISE, "heat to the rest", "foam stays below the rim")
        rest(_QUIET_FOR, "rest, next portion when quiet", "foam has fallen, surface quiet")
    go(peak, _RISE, "heat to the peak", "foam below the rim, tray below dry")
    hold = _hold(series, raw)
    if hold:
        rest(hold, "hold", "hourly: flat, clear? pull a thread; level not falling")
    steps.append(KilnStep(clock, 0.0, peak, 0.0, "pour", "elements off; how it runs, how much leaves"))
    return tuple(steps)


def _hold(series: MeltSeries, raw: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
    """Hours at the peak, 0 where the series does not say."""
    said = series.recipe.held_for if series.recipe else ""
    if isinstance(said, Quantity):
        return said.in_unit("h")
    factor = next((f for f in series.factors if f.name == said and isinstance(f, Amount)), None)
    if factor is None:
        return 0.0
    return convert(float(np.max(raw[:, series.factor_names.index(factor.name)])), factor.unit, "h")


def cool_together(plans: Sequence[CoolingPlan]) -> bool:
    """Whether the castings of a firing may share one annealing."""
    soaks = [plan.schedule.steps[0].start for plan in plans]
    return bool(soaks) and max(soaks) - min(soaks) <= _TOGETHER


def joint_cooling(plans: Sequence[CoolingPlan], start: float) -> tuple[KilnStep, ...]:
    """One cooling for all castings of a firing, from `start` hours on; nothing where they may not share one."""
    if not cool_together(plans):
        return ()
    columns: list[tuple[CoolingStep, ...]] = list(zip(*(plan.schedule.steps for plan in plans), strict=True))
    soak = max(step.start for step in columns[0])
    held = max(step.hours for step in columns[0])
    steps = [KilnStep(start, held, soak, 0.0, "soak in the annealer", "hot before the casting goes in")]
    at, clock = soak, start + held
    for column in columns[1:]:
        end, rate = min(step.end for step in column), min(step.rate for step in column)
        hours = max(at - end, 0.0) / rate
        watch = "keep shut; note the real fall" if end > _ROOM else "open below 40 °C; cracks in good light"
        steps.append(KilnStep(clock, hours, end, -rate, column[0].what, watch))
        at, clock = end, clock + hours
    return tuple(steps)


def temperature_unit(series: MeltSeries) -> str:
    """The unit in which this maker reads the kiln."""
    for factor in series.factors:
        if isinstance(factor, Amount) and factor.unit in ("°C", "°F"):
            return factor.unit
    ceiling = series.kiln.max_temperature
    return ceiling.unit if ceiling is not None and ceiling.unit in ("°C", "°F") else "°C"

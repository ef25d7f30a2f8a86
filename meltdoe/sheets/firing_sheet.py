"""The page of one firing: what its melts share, and the schedule from a cold kiln to cold castings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.series.factor import Amount, Factor
from meltdoe.series.melt_series import MeltSeries
from meltdoe.sheets.bench_glass import BenchGlass
from meltdoe.sheets.kiln_schedule import KilnStep, cool_together, heating, joint_cooling, temperature_unit
from meltdoe.sheets.schedule_picture import ScheduleDrawing, schedule_drawing
from meltdoe.units import convert, convert_difference, dimension
from meltdoe.wording import listed

__all__ = ["FiringSheet", "ScheduleLine", "firing_sheet", "firing_steps"]


@dataclass(frozen=True, slots=True)
class ScheduleLine:
    """One line of the schedule as it is printed."""

    clock: str
    what: str
    to: str
    rate: str
    watch: str


@dataclass(frozen=True, slots=True)
class FiringSheet:
    """One page.

    Parameters
    ----------
    melts : numbers of its melts, in the order of the work.
    settings : what all melts of the firing share, as title, planned value and unit.
    lines : the schedule.
    notes : what the schedule rests on, one sentence each.
    warnings : of the cooling, one sentence each.
    drawing : the schedule as a picture.
    """

    firing: int
    melts: tuple[int, ...]
    settings: tuple[tuple[str, str, str], ...]
    lines: tuple[ScheduleLine, ...]
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    drawing: ScheduleDrawing | None


def firing_sheet(series: MeltSeries, melts: Sequence[PlannedMelt], glasses: Sequence[BenchGlass]) -> FiringSheet | None:
    """The page of one firing, or None where the series says too little for a schedule.

    Parameters
    ----------
    glasses : of its melts, empty where the series has no recipe.
    """
    steps = firing_steps(series, melts, glasses)
    if not steps:
        return None
    unit = temperature_unit(series)
    cooled = [each.glass.cooling for each in glasses if each.glass.cooling is not None]
    notes = ["Heating rates are common practice: the makers of kiln and crucible come first."]
    if cooled and not cool_together(cooled):
        notes.append("Their soaks lie too far apart for one annealing: cool each casting as the page of its melt says.")
    elif cooled:
        size = max(plan.thickness_mm for plan in cooled)
        alpha = max(plan.schedule.alpha for plan in cooled)
        sd = convert_difference(max(plan.schedule.annealing_sd for plan in cooled), "K", unit)
        practice = convert_difference(min(plan.schedule.practice_rate for plan in cooled), "K", unit)
        notes.append(
            f"Cooling is for {size:g} mm and an expansion of {alpha:.0f} × 10⁻⁷ per K; the soak may be out by {sd:.0f} "
            f"{unit}. The common casting table would fall by {practice:.1f} {unit}/h at first; the slower fall is the "
            "safer."
        )
    notes += [_own_rate(series, factor, melts) for factor in series.factors if cooled and _is_rate(factor)]
    beds = {each.glass.melt: each.glass.cooling.bed for each in glasses if each.glass.cooling is not None}
    buried = {melt: bed for melt, bed in beds.items() if bed is not None}
    if buried:
        worst = max(buried, key=lambda melt: buried[melt].stress)
        which = "" if cool_together(cooled) else f", worst for melt {worst}"
        notes.append(f"Instead of the kiln{which}: {buried[worst].sentence}.")
    return FiringSheet(
        firing=melts[0].firing,
        melts=tuple(melt.melt for melt in melts),
        settings=tuple(
            (
                factor.title,
                factor.show(float(value)) if isinstance(factor, Amount) else str(value),
                factor.unit if isinstance(factor, Amount) else "",
            )
            for factor in series.factors
            if factor.set_per == "firing"
            for value in [melts[0].settings[factor.name]]
        ),
        lines=tuple(_line(step, unit) for step in steps),
        notes=tuple(notes),
        warnings=tuple(dict.fromkeys(warning for plan in cooled for warning in plan.schedule.warnings)),
        drawing=_drawing(series, melts, glasses, unit),
    )


def _is_rate(factor: Factor) -> bool:
    return isinstance(factor, Amount) and dimension(factor.unit) == "temperature rate"


def _own_rate(series: MeltSeries, factor: Factor, melts: Sequence[PlannedMelt]) -> str:
    """That the plan varies a rate which the schedule works out from the glass: both cannot be kept."""
    planned = listed(list(dict.fromkeys(series.show({factor.name: melt.settings[factor.name]}) for melt in melts)))
    return (
        f"The plan itself asks for {planned}: that is what is tried here, and the schedule only says what this glass "
        "would need. Where the plan is the faster, expect a crack; where both can be kept, the slower is the safer."
    )


def firing_steps(
    series: MeltSeries, melts: Sequence[PlannedMelt], glasses: Sequence[BenchGlass]
) -> tuple[KilnStep, ...]:
    """Heating and joint cooling of one firing; empty where its pour is not known."""
    steps = _heated(series, melts, glasses)
    if not steps:
        return ()
    cooled = [each.glass.cooling for each in glasses if each.glass.cooling is not None]
    return (*steps, *joint_cooling(cooled, steps[-1].start))


def _heated(series: MeltSeries, melts: Sequence[PlannedMelt], glasses: Sequence[BenchGlass]) -> tuple[KilnStep, ...]:
    gas = max((each.glass.gas for each in glasses if each.glass.composition), default=None)
    return heating(series, melts, gas)


def _drawing(
    series: MeltSeries, melts: Sequence[PlannedMelt], glasses: Sequence[BenchGlass], unit: str
) -> ScheduleDrawing | None:
    """Castings that may not share an annealing have a line each."""
    heated = _heated(series, melts, glasses)
    if not heated:
        return None
    start = heated[-1].start
    plans = {f"casting of melt {each.glass.melt}": each.glass.cooling for each in glasses}
    cooled = {name: plan for name, plan in plans.items() if plan is not None}
    if cool_together(list(cooled.values())):
        return schedule_drawing(heated, {"castings": joint_cooling(list(cooled.values()), start)}, unit)
    return schedule_drawing(heated, {name: joint_cooling([plan], start) for name, plan in cooled.items()}, unit)


def _line(step: KilnStep, unit: str) -> ScheduleLine:
    rate = convert_difference(abs(step.rate), "K", unit)
    shown = f"{rate:.0f}" if rate >= 20 else f"{rate:.1f}"
    direction = "up" if step.rate > 0 else "down"
    return ScheduleLine(
        clock=_hours(step.start),
        what=step.what,
        to=f"{convert(step.celsius, '°C', unit):.0f} {unit}",
        rate=f"{direction} {shown} {unit}/h" if step.rate else _hours(step.hours) if step.hours else "",
        watch=step.watch,
    )


def _hours(hours: float) -> str:
    minutes = round(60.0 * hours)
    return f"{minutes // 60}:{minutes % 60:02d} h"

"""How the casting of one melt is cooled: the schedule for its thickness, glass and furnace, and a bed beside it.

A furnace cannot fall faster than it does when switched off: steps that ask for more take as long as the furnace does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from meltdoe.glass.annealing import CoolingSchedule, anneal_schedule
from meltdoe.glass.bed_cooling import BuriedCooling, buried_cooling
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.recipe import Cooling

__all__ = ["CoolingPlan", "cooling_plan"]


@dataclass(frozen=True, slots=True)
class CoolingPlan:
    """Cooling of one casting.

    Parameters
    ----------
    schedule : steps in °C and K/h, no faster than the furnace falls by itself.
    thickness_mm : that it is made for.
    bed : cooling in a bed of insulation beside it, or None where none is asked for.
    """

    schedule: CoolingSchedule
    thickness_mm: float
    bed: BuriedCooling | None


def cooling_plan(series: MeltSeries, composition: Mapping[str, float]) -> CoolingPlan | None:
    """The cooling of a casting of this glass, or None where the series does not describe the casting.

    Parameters
    ----------
    composition : wt%.

    Raises
    ------
    ValueError
        Where no model covers the glass.
    """
    cooling = series.cooling
    if cooling is None:
        return None
    size = cooling.thickness.in_unit("mm")
    schedule = anneal_schedule(composition, cooling.shape, size, in_mould=cooling.in_mould)
    schedule = _as_the_furnace_can(schedule, cooling)
    bed = None
    if cooling.bed is not None:
        shape = "slab" if cooling.shape == "slab one face" else cooling.shape
        bed = buried_cooling(composition, shape, size, bed=cooling.bed, cover=cooling.cover.in_unit("mm"))
    return CoolingPlan(schedule, size, bed)


def _as_the_furnace_can(schedule: CoolingSchedule, cooling: Cooling) -> CoolingSchedule:
    if cooling.furnace_rate is None:
        return schedule
    fastest = cooling.furnace_rate.in_unit("K/h")
    steps = tuple(
        replace(step, rate=fastest, hours=(step.start - step.end) / fastest) if step.rate > fastest else step
        for step in schedule.steps
    )
    return replace(schedule, steps=steps)

"""How the casting of one melt is cooled: the schedule for its size, shape, glass and furnace, and a bed beside it.

A furnace cannot fall faster than it does when switched off: steps that ask for more take as long as the furnace does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from meltdoe.charge.casting_size import casting_shape, casting_thickness
from meltdoe.glass.annealing import CoolingSchedule, anneal_schedule
from meltdoe.glass.bed_cooling import BuriedCooling, buried_cooling
from meltdoe.series.factor import Setting
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.recipe import Cooling

__all__ = ["CoolingPlan", "cooling_plan"]


@dataclass(frozen=True, slots=True)
class CoolingPlan:
    """Cooling of one casting.

    Parameters
    ----------
    schedule : steps in °C and K/h, no faster than the furnace falls by itself.
    thickness_mm, shape : that it is made for.
    bed : cooling in a bed of insulation beside it, or None where none is asked for.
    """

    schedule: CoolingSchedule
    thickness_mm: float
    shape: str
    bed: BuriedCooling | None


def cooling_plan(
    series: MeltSeries, composition: Mapping[str, float], settings: Mapping[str, Setting]
) -> CoolingPlan | None:
    """The cooling of a casting of this glass, or None where the series does not describe the casting.

    Parameters
    ----------
    composition : wt%.
    settings : of the melt, of which some may set thickness or shape.

    Raises
    ------
    ValueError
        Where no model covers the glass, or the thickness of this melt is not known.
    """
    cooling = series.cooling
    thickness = casting_thickness(series, series.raw(settings))
    if cooling is None or thickness is None:
        return None
    size, shape = float(thickness[0]), casting_shape(series, settings)
    if not size > 0.0:  # NaN as well
        raise ValueError("the thickness of the casting is not known")
    if not shape:
        raise ValueError("the shape of the casting is not known")
    schedule = anneal_schedule(composition, shape, size, in_mould=cooling.in_mould)
    schedule = _as_the_furnace_can(schedule, cooling)
    bed = None
    if cooling.bed is not None:
        buried = "slab" if shape == "slab one face" else shape
        bed = buried_cooling(composition, buried, size, bed=cooling.bed, cover=cooling.cover.in_unit("mm"))
    return CoolingPlan(schedule, size, shape, bed)


def _as_the_furnace_can(schedule: CoolingSchedule, cooling: Cooling) -> CoolingSchedule:
    if cooling.furnace_rate is None:
        return schedule
    fastest = cooling.furnace_rate.in_unit("K/h")
    steps = tuple(
        replace(step, rate=fastest, hours=(step.start - step.end) / fastest) if step.rate > fastest else step
        for step in schedule.steps
    )
    return replace(schedule, steps=steps)

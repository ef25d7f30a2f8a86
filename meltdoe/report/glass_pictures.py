"""The pictures of the glass that a series with a recipe can fill."""

from __future__ import annotations

from meltdoe.charge.earlier_melts import earlier_melts
from meltdoe.charge.shelf import Shelf, shelf
from meltdoe.log.melt_log import Log
from meltdoe.plans.melt_plan import Plan
from meltdoe.report.figures.kiln_figures import kiln_picture
from meltdoe.report.figures.style import Picture
from meltdoe.report.figures.viscosity_figures import viscosity_picture
from meltdoe.sheets.bench_glass import bench_glass
from meltdoe.sheets.kiln_schedule import cool_together, heating, joint_cooling, temperature_unit

__all__ = ["glass_pictures"]


def glass_pictures(log: Log, plan: Plan | None) -> tuple[Picture, ...]:
    """Viscosity of the melts and the schedule of the next firing; nothing for a series without a recipe."""
    series = log.series
    if series.recipe is None:
        return ()
    melts = earlier_melts(series, log.entries, () if plan is None else plan.melts)
    try:
        stocked = shelf(series, melts)
    except ValueError:
        return ()  # a ring of remelted glass, which `check` names
    unit = temperature_unit(series)
    found = [viscosity_picture(series, melts, log.melt_numbers, stocked, unit), _next_firing(log, plan, stocked, unit)]
    return tuple(picture for picture in found if picture is not None)


def _next_firing(log: Log, plan: Plan | None, stocked: Shelf, unit: str) -> Picture | None:
    """The schedule of the first firing with a melt that is not made yet, else of the first."""
    if plan is None or not plan.melts:
        return None
    ordered = sorted(plan.melts, key=lambda melt: melt.order)
    waiting = [melt for melt in ordered if melt.melt not in log.melt_numbers]
    firing = (waiting or ordered)[0].firing
    melts = [melt for melt in ordered if melt.firing == firing]
    glasses = {melt.melt: bench_glass(log.series, melt, stocked).glass for melt in melts}
    heated = heating(log.series, melts, max(glass.gas for glass in glasses.values()))
    plans = {f"casting of melt {melt}": glass.cooling for melt, glass in glasses.items() if glass.cooling is not None}
    if cool_together(list(plans.values())):
        together = list(plans.values())
        cooled = {"all castings": joint_cooling(together, heated[-1].start)} if heated else {}
    else:
        cooled = {name: joint_cooling([one], heated[-1].start) for name, one in plans.items() if heated}
    return kiln_picture(heated, cooled, firing, len(melts), unit)

"""The schedule of a firing at one setting, as numbers: for a reader who wants to copy it."""

from __future__ import annotations

from meltdoe.charge.earlier_melts import earlier_melts
from meltdoe.charge.shelf import shelf
from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import capital
from meltdoe.log.melt_log import Log
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.report.tables import Column, Table
from meltdoe.sheets.bench_glass import bench_glass
from meltdoe.sheets.firing_sheet import firing_sheet

__all__ = ["schedule_table"]

_UNCOOLED = (
    "The cooling of the casting is not worked out here, because the series file does not say what glass it is or how "
    "thick: one that is not cooled slowly can crack or burst."
)


def schedule_table(log: Log, best: BestSetting) -> Table | None:
    """From a cold kiln to a cold casting, one melt alone; None where the series says too little for a schedule."""
    series = log.series
    melt = PlannedMelt(max(log.melt_numbers, default=0) + 1, 1, 1, best.settings, "")
    glasses = []
    if series.recipe is not None:
        try:
            glasses.append(bench_glass(series, melt, shelf(series, earlier_melts(series, log.entries))))
        except ValueError:
            return None  # a ring of remelted glass, which `check` names
    sheet = firing_sheet(series, [melt], glasses)
    if sheet is None:
        return None
    rows = tuple((line.clock, line.what, line.to, line.rate, line.watch) for line in sheet.lines)
    columns = (Column("Begins at"), Column("Step"), Column("To"), Column("How fast, how long"), Column("Watch"))
    said = [f"Begins at: hours and minutes from the cold kiln. {sheet.notes[0]}", *sheet.notes[1:]]
    if not any(each.glass.cooling is not None for each in glasses):
        said.append(_UNCOOLED)
    said += [f"{capital(warning.rstrip('.'))}." for warning in sheet.warnings]
    return Table(
        "Schedule of a firing at this setting, with one melt alone", columns, rows, " ".join(said)
    ).without_empty_columns()

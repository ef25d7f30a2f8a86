"""Series, plan and log read from a folder; what is noticed on the way is told through the logger "meltdoe"."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.errors import ProblemsFound

if TYPE_CHECKING:
    from meltdoe.log.melt_log import Log
    from meltdoe.plans.melt_plan import Plan
    from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "notice_edits",
    "plan_or_none",
    "read_log",
    "read_plan",
    "read_series",
]


def read_series(folder: Path | str) -> MeltSeries:
    """Read and check series.toml.

    Raises
    ------
    ProblemsFound
        With every problem of the file.
    """
    from meltdoe.files.series.series_toml import read_series as read

    return read(folder)


def read_log(series: MeltSeries) -> Log:
    """The log of a series, edits made in a spreadsheet entered in the journal first and told of.

    Where the folder cannot be written, the edits count all the same and are told of as not yet entered.

    Raises
    ------
    ProblemsFound
        With every problem and every open question of log.csv.
    """
    from meltdoe.files.store.settling import settled_log

    log, told = settled_log(series)
    for line in told:
        logging.getLogger("meltdoe").warning("%s", line)
    return log


def notice_edits(series: MeltSeries) -> None:
    """`read_log` for a step that needs no log: a log with problems is told of and stops nothing."""
    try:
        read_log(series)
    except ProblemsFound as found:
        for problem in found.problems:
            logging.getLogger("meltdoe").warning("%s", problem)


def read_plan(series: MeltSeries) -> Plan:
    """The plan of a series; raises ProblemsFound where there is none, no melt in it, or it does not fit the series."""
    from meltdoe.files.store.plan_csv import PLAN_NAME
    from meltdoe.files.store.plan_csv import read_plan as read

    plan = read(series)
    if not plan.melts:
        raise ProblemsFound.single(PLAN_NAME, None, "holds no melt", "draw up a plan with: meltdoe plan")
    return plan


def plan_or_none(series: MeltSeries) -> Plan | None:
    """The plan where one was drawn up and not all of its rows were deleted."""
    from meltdoe.files.store.journal import JOURNAL_NAME
    from meltdoe.files.store.log_csv import series_folder
    from meltdoe.files.store.plan_csv import PLAN_NAME
    from meltdoe.files.store.plan_csv import read_plan as read

    folder = series_folder(series)
    if not (folder / PLAN_NAME).exists() and not (folder / JOURNAL_NAME).exists():
        return None
    try:
        plan = read(series)
    except ProblemsFound:
        if (folder / PLAN_NAME).exists():
            raise
        return None
    return plan if plan.melts else None

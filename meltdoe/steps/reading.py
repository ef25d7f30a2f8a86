"""Series, plan and log read from a folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.errors import ProblemsFound

if TYPE_CHECKING:
    from meltdoe.log.melt_log import Log
    from meltdoe.plans.melt_plan import Plan
    from meltdoe.series.melt_series import MeltSeries

__all__ = [
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
    from meltdoe.files.series_toml import read_series as read

    return read(folder)


def read_log(series: MeltSeries) -> Log:
    """The log of a series, edits made in a spreadsheet entered in the journal first.

    Raises
    ------
    ProblemsFound
        With every problem and every open question of log.csv.
    """
    from meltdoe.files.log_csv import read_log as read
    from meltdoe.files.log_csv import settle

    settle(series)
    return read(series)


def read_plan(series: MeltSeries) -> Plan:
    """The plan of a series; raises ProblemsFound where there is none or it does not fit the series."""
    from meltdoe.files.plan_csv import read_plan as read

    return read(series)


def plan_or_none(series: MeltSeries) -> Plan | None:
    """The plan where one was drawn up."""
    from meltdoe.files.journal import JOURNAL_NAME
    from meltdoe.files.log_csv import series_folder
    from meltdoe.files.plan_csv import PLAN_NAME

    folder = series_folder(series)
    if not (folder / PLAN_NAME).exists() and not (folder / JOURNAL_NAME).exists():
        return None
    try:
        return read_plan(series)
    except ProblemsFound:
        if (folder / PLAN_NAME).exists():
            raise
        return None

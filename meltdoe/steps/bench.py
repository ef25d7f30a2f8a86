"""What goes to the bench and comes back: sheets and workbooks."""

from __future__ import annotations

import os
from pathlib import Path

from meltdoe.errors import ProblemsFound, WrongUsage
from meltdoe.steps.glass import shelf_of
from meltdoe.steps.reading import read_log, read_plan, read_series

__all__ = [
    "write_sheets",
    "write_workbook",
]


def write_sheets(folder: Path) -> Path:
    """Write the melt sheets of the plan as one HTML page to print; returns it."""
    from meltdoe.files.disk.safe_write import write_file
    from meltdoe.files.store.log_csv import series_folder
    from meltdoe.sheets.melt_sheet import sheets_page

    series = read_series(folder)
    plan, log = read_plan(series), read_log(series)
    page = sheets_page(plan, log.melt_numbers, shelf_of(series, log, plan))
    file = series_folder(series) / "sheets.html"
    write_file(file, page)
    return file


def write_workbook(folder: Path, file: Path) -> Path:
    """Write the log as an .xlsx workbook with drop-downs, to fill in and bring back; returns the file.

    Raises
    ------
    WrongUsage
        Where the name is not that of a workbook.
    ProblemsFound
        Where a file of that name is there: it may hold what was filled in and not yet brought back.
    """
    from meltdoe.files.disk.safe_write import write_file
    from meltdoe.files.tables.log_workbook import log_workbook

    if file.suffix.lower() != ".xlsx":
        raise WrongUsage(f'the workbook needs a name that ends in .xlsx, not "{file.name}"')
    if os.path.lexists(file):
        mend = f'bring it in first with: meltdoe record --from "{file}"; then move it away, or take another name'
        raise ProblemsFound.single(file.name, None, "is already there, and may hold melts not yet brought in", mend)
    series = read_series(folder)
    write_file(file, log_workbook(series, read_log(series)))
    return file

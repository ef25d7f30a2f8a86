"""What goes to the bench and comes back: sheets and workbooks."""

from __future__ import annotations

from pathlib import Path

from meltdoe.steps.reading import read_log, read_plan, read_series

__all__ = [
    "write_sheets",
    "write_workbook",
]


def write_sheets(folder: Path) -> Path:
    """Write the melt sheets of the plan as one HTML page to print; returns it."""
    from meltdoe.files.log_csv import series_folder
    from meltdoe.files.safe_write import write_file
    from meltdoe.sheets.melt_sheet import sheets_page

    series = read_series(folder)
    page = sheets_page(read_plan(series), read_log(series).melt_numbers)
    file = series_folder(series) / "sheets.html"
    write_file(file, page)
    return file


def write_workbook(folder: Path, file: Path) -> Path:
    """Write the log as an .xlsx workbook with drop-downs, to fill in and bring back; returns the file."""
    from meltdoe.files.log_workbook import log_workbook
    from meltdoe.files.safe_write import write_file

    series = read_series(folder)
    write_file(file, log_workbook(series, read_log(series)))
    return file

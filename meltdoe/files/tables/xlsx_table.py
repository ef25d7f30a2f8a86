"""The rows of an .xlsx spreadsheet as the same texts that a CSV table would hold.

Formulas count as the value that was saved with them, dates come as year-month-day, yes and no for true and false, and
97.5 % where 0.975 is shown as a percentage.
"""

from __future__ import annotations

import datetime
import io
from collections.abc import Collection, Sequence

from python_calamine import load_workbook

from meltdoe.files.tables.table_rows import TableRow, known_headings, too_large
from meltdoe.files.tables.xlsx_parts import SheetFacts, damaged, xlsx_parts
from meltdoe.log.numbers import number_text

__all__ = ["is_xlsx", "xlsx_rows"]

_LONGEST_CELL = 20_000
_LINES_TO_FIT = 10


def is_xlsx(content: bytes, file: str) -> bool:
    """Whether the file is to be read as a workbook: by its first bytes, or by what its name promises."""
    return content.startswith(b"PK\x03\x04") or file.lower().endswith((".xlsx", ".xlsm", ".xls", ".ods"))


def xlsx_rows(content: bytes, file: str, known: Collection[str]) -> tuple[list[TableRow], str]:
    """Every row that is not empty of the sheet that fits best, and the file's name with the sheet where it has several.

    The sheet with the most known headings near its top is taken; the first one where none has any.

    Raises
    ------
    ProblemsFound
        Where the spreadsheet cannot be read or is too large.
    """
    parts = xlsx_parts(content, file)
    try:
        book = load_workbook(io.BytesIO(parts.archive))
        sheets = {
            name: book.get_sheet_by_name(name).to_python(skip_empty_area=False)
            for name in book.sheet_names
            if name in parts.sheets
        }
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # a fault inside the reader is no Exception
        raise damaged(file) from error
    if not sheets:
        raise damaged(file)
    read = {name: _rows(values, parts.sheets[name], file) for name, values in sheets.items()}

    def fit(name: str) -> int:
        return max((known_headings(row.cells, known) for row in read[name][:_LINES_TO_FIT]), default=0)

    best = max(read, key=fit)
    return read[best], file if len(read) == 1 else f"{file}, sheet {best}"


def _rows(values: Sequence[Sequence[object]], facts: SheetFacts, file: str) -> list[TableRow]:
    rows = []
    for number, row in enumerate(values):
        cells = [_text(value, (number, column), facts).strip() for column, value in enumerate(row)]
        while cells and not cells[-1]:
            cells.pop()
        if max(map(len, cells), default=0) > _LONGEST_CELL:
            raise too_large(file, number + 1)
        if cells:
            rows.append(TableRow(number + 1, tuple(cells)))
    return rows


def _text(value: object, place: tuple[int, int], facts: SheetFacts) -> str:
    if place in facts.instead:
        return facts.instead[place]
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        if place in facts.percent:
            return f"{number_text(float(f'{100 * value:.12g}'))} %"
        return number_text(float(f"{value:.15g}"))  # spreadsheets themselves keep 15 digits
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return value.date().isoformat()
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    return str(value)

"""The log as an .xlsx workbook to fill in: drop-downs for choices and outcomes, hints for numbers and dates.

It has the columns of log.csv and comes back through `record --from`. Every text is written as a text, and stays one
when its cell is edited, so none can run as a formula; the same log gives the same bytes.
"""

from __future__ import annotations

import datetime
import io
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from xlsxwriter import Workbook
from xlsxwriter.utility import xl_col_to_name

from meltdoe.log.cell_words import UNKNOWN
from meltdoe.log.entry import Row, entry_row, log_columns
from meltdoe.log.melt_log import Log
from meltdoe.log.numbers import number_text
from meltdoe.series.factor import Amount
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Unseen

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

__all__ = ["log_workbook"]

_LOG, _WORDS = "log", "words"
_EMPTY_ROWS = 100
_CREATED = datetime.datetime(2000, 1, 1)  # a fixed day, so that the same log gives the same bytes
_FIRST_DAY = datetime.date(1900, 3, 1)  # spreadsheets count earlier days wrongly, or not at all
_NOT_XML = re.compile("[\x00-\x08\x0b-\x1f\ud800-\udfff\ufffe\uffff]")
_AWAITED = [Unseen.LATER.value, Unseen.LOST.value]


def log_workbook(series: MeltSeries, log: Log) -> bytes:
    """The content of an .xlsx file with the log's rows and empty rows below them.

    A second, hidden sheet holds the words of the drop-downs.
    """
    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = Workbook(out, options)
    book.set_properties({"title": _plain(series.title), "created": _CREATED})
    sheet = book.add_worksheet(_LOG)
    words = book.add_worksheet(_WORDS)
    words.hide()
    head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    formats = {"date": book.add_format({"num_format": "yyyy-mm-dd"}), "text": book.add_format({"quote_prefix": True})}
    columns = log_columns(series)
    for place, column in enumerate(columns):
        sheet.write_string(0, place, _plain(column), head)
        sheet.set_column(place, place, 40 if column == "note" else max(10, min(24, len(column) + 2)))
    rows = [entry_row(series, entry) for entry in log.entries]
    for number, row in enumerate(rows, start=1):
        _write_row(sheet, number, columns, row, formats)
    _Rules(series, sheet, words, len(rows) + _EMPTY_ROWS).set(columns)
    sheet.freeze_panes(1, 1)
    book.close()
    return out.getvalue()


def _plain(text: str) -> str:
    """The text without what an XML file cannot hold."""
    return _NOT_XML.sub("", text)


def _write_row(sheet: Worksheet, number: int, columns: Sequence[str], row: Row, formats: Mapping[str, Format]) -> None:
    for place, column in enumerate(columns):
        cell = row.get(column, "")
        if isinstance(cell, str):
            date = datetime.date.fromisoformat(cell) if column == "date" and cell else None
            if date is not None and date >= _FIRST_DAY:
                sheet.write_datetime(number, place, datetime.datetime(date.year, date.month, date.day), formats["date"])
            elif cell:
                sheet.write_string(number, place, _plain(cell), formats["text"])
        else:
            sheet.write_number(number, place, cell)


class _Rules:
    """What a cell of each column may hold; where the list is not the whole truth, a warning may be overruled."""

    def __init__(self, series: MeltSeries, sheet: Worksheet, words: Worksheet, last: int) -> None:
        self.series = series
        self.sheet = sheet
        self.words = words
        self.last = last
        self.lists = 0

    def set(self, columns: Sequence[str]) -> None:
        series = self.series
        place = {column: i for i, column in enumerate(columns)}
        for column in ("melt", "mould", "firing"):
            if column in place:
                most = series.moulds_per_melt if column == "mould" else 999_999
                rule = {"validate": "integer", "criteria": "between", "minimum": 1, "maximum": most}
                self._put(place[column], rule, f"A whole number from 1 to {most}.", "stop")
        since = {"validate": "date", "criteria": ">=", "value": _FIRST_DAY}
        self._put(place["date"], since, "The day of the melt.", "warning")
        for factor in series.factors:
            if isinstance(factor, Amount):
                hint = f"The setting that was used, in {factor.unit or 'plain numbers'}; planned within "
                hint += f"{number_text(factor.low)} to {number_text(factor.high)}."
                self._put(
                    place[factor.name], {"validate": "decimal", "criteria": ">", "value": -1e300}, hint, "warning"
                )
            else:
                self._list(place[factor.name], [*factor.options, UNKNOWN], "The option that was used.")
        for outcome in series.outcomes:
            self._outcome(place[outcome.name], outcome)
        for circumstance in series.circumstances:
            if circumstance.options:
                self._list(place[circumstance.name], circumstance.options, circumstance.label or circumstance.name)

    def _outcome(self, place: int, outcome: Outcome) -> None:
        hint = f"{outcome.question or outcome.name}: blank where it never got that far, later where not known yet, "
        hint += "lost where it will never be known."
        if outcome.words:
            self._list(place, [*outcome.words, *_AWAITED], hint)
            return
        cell = f"{xl_col_to_name(place)}2"
        low, high = outcome.bounds or (-1e300, 1e300)
        number = f"AND(ISNUMBER({cell}),{cell}>={low:.15g},{cell}<={high:.15g})"
        rule = {"validate": "custom", "value": f'=OR({number},{cell}="later",{cell}="lost")'}
        self._put(place, rule, hint, "warning")

    def _list(self, place: int, options: Sequence[str], hint: str) -> None:
        """A drop-down from a column of the sheet of words: there an option may hold commas and any length."""
        for row, option in enumerate(options):
            self.words.write_string(row, self.lists, _plain(option))
        column = xl_col_to_name(self.lists, col_abs=True)
        self.lists += 1
        rule = {"validate": "list", "source": f"={_WORDS}!{column}$1:{column}${len(options)}"}
        self._put(place, rule, hint, "warning")

    def _put(self, place: int, rule: dict[str, Any], hint: str, error: str) -> None:
        plain = _plain(" ".join(hint.split()))
        rule |= {"input_message": plain if len(plain) <= 255 else f"{plain[:252]}...", "error_type": error}
        self.sheet.data_validation(1, place, self.last, place, rule)

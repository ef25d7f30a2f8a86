"""Dates as people and spreadsheets write them. 05/11/2026 is asked about, not guessed."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from typing import Literal, TypeAlias

from meltdoe.log.numbers import CellFault, shortened

__all__ = ["DayOrder", "day_order", "read_date"]

DayOrder: TypeAlias = Literal["day first", "month first"]

_TIME = r"(?:[T ]\s*[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?(?:Z|[-+][0-9]{2}:?[0-9]{2})?)?\Z"
_YEAR_FIRST = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})" + _TIME)
_YEAR_LAST = re.compile(r"([0-9]{1,2})([-/.])\s?([0-9]{1,2})\2\s?([0-9]{4})" + _TIME)
_SHORT_DOTTED = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{2})\Z")
_NAMED = re.compile(r"(?:([0-9]{1,2})\.? ([A-Za-z]{3,9})\.?|([A-Za-z]{3,9})\.? ([0-9]{1,2})),? ([0-9]{4})\Z")
_MONTHS = ("january", "february", "march", "april", "may", "june", "july",
           "august", "september", "october", "november", "december")  # fmt: skip
_MEND = "write the date as year-month-day, for example 2026-11-25"


def _date(year: int, month: int, day: int) -> datetime.date | None:
    try:
        return datetime.date(year, month, day)
    except ValueError:
        return None


def day_order(texts: Iterable[str]) -> DayOrder | None:
    """Whether dates such as 25/11/2026 or 11/25/2026 among `texts` show which comes first."""
    orders: set[DayOrder] = set()
    for text in texts:
        match = _YEAR_LAST.match(text.strip())
        if match and match.group(2) != ".":
            first, second = int(match.group(1)), int(match.group(3))
            if first > 12 >= second:
                orders.add("day first")
            elif second > 12 >= first:
                orders.add("month first")
    return orders.pop() if len(orders) == 1 else None


def read_date(text: str, order: DayOrder | None = None, known: datetime.date | None = None) -> datetime.date | None:
    """A date, or None for a blank cell; a time of day behind it is left out.

    Parameters
    ----------
    order : what the other dates of the column show.
    known : the date on record for this melt; settles a date that could be two.

    Raises
    ------
    CellFault
        Where the text is no date or could be two.
    """
    plain = " ".join(text.split())
    if not plain:
        return None
    found: datetime.date | None = None
    if match := _YEAR_FIRST.match(plain):
        found = _date(*(int(part) for part in match.groups()))
    elif match := _SHORT_DOTTED.match(plain):
        found = _date(2000 + int(match.group(3)), int(match.group(2)), int(match.group(1)))
    elif match := _YEAR_LAST.match(plain):
        first, second, year = int(match.group(1)), int(match.group(3)), int(match.group(4))
        by_day, by_month = _date(year, second, first), _date(year, first, second)
        if match.group(2) == "." or by_month is None or by_day == by_month:
            found = by_day
        elif by_day is None:
            found = by_month
        elif order is not None:
            found = by_day if order == "day first" else by_month
        elif known in (by_day, by_month):
            found = known
        else:
            raise CellFault(f'date "{shortened(plain)}" can be {by_day} or {by_month}', _MEND)
    elif match := _NAMED.match(plain):
        word = (match.group(2) or match.group(3)).lower()
        months = [
            i for i, month in enumerate(_MONTHS, start=1) if month.startswith(word) or (word == "sept" and i == 9)
        ]
        if len(months) == 1:
            found = _date(int(match.group(5)), months[0], int(match.group(1) or match.group(4)))
    if found is None:
        raise CellFault(f'date "{shortened(plain)}" is not a date', _MEND)
    return found

"""What somebody says of one melt, and how it is read before it meets the log."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import ParamSpec, TypeAlias, TypeVar

from meltdoe.errors import Problem
from meltdoe.log.cell_words import read_actual, read_circumstance, read_outcome, read_text
from meltdoe.log.column_match import nearest
from meltdoe.log.dates import DayOrder, read_date
from meltdoe.log.entry import Where
from meltdoe.log.numbers import CellFault, DecimalMark, number_text
from meltdoe.series.factor import Setting
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Seen, Unseen

__all__ = ["ReadSaid", "Said", "SaidValue", "read_said", "said_text"]

SaidValue: TypeAlias = str | float | bool | Unseen

_HIGHEST = 999_999
_T = TypeVar("_T")
_P = ParamSpec("_P")


@dataclass(frozen=True, slots=True)
class Said:
    """What somebody says of one melt; whatever is left out is not said.

    Parameters
    ----------
    melt : its number, or None for the next free one.
    note : None where nothing is said.
    """

    melt: int | None = None
    settings: Mapping[str, SaidValue] = field(default_factory=dict)
    seen: Mapping[str, SaidValue] = field(default_factory=dict)
    circumstances: Mapping[str, SaidValue] = field(default_factory=dict)
    note: str | None = None
    date: datetime.date | str | None = None
    firing: int | None = None
    mould: int = 1


@dataclass(frozen=True, slots=True)
class ReadSaid:
    """What was said, read. A setting that is None was said to be unknown, a circumstance to be blank."""

    settings: Mapping[str, Setting | None]
    seen: Mapping[str, Seen]
    circumstances: Mapping[str, Setting | None]
    note: str | None
    date: datetime.date | None
    firing: int | None


def said_text(value: SaidValue) -> str:
    """A value that was said, as the text of its cell."""
    if isinstance(value, Unseen):
        return value.value
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else number_text(float(value))


class _Faults:
    """Collects every fault of what was said."""

    def __init__(self, where: Where) -> None:
        self.where = where
        self.problems: list[Problem] = []

    def tried(self, read: Callable[_P, _T], *args: _P.args, **kwargs: _P.kwargs) -> _T | None:
        """The value, or None with the fault noted."""
        try:
            return read(*args, **kwargs)
        except CellFault as fault:
            self.problems.append(self.where.problem(fault.what, fault.mend))
            return None

    def known(self, said: Mapping[str, SaidValue], names: Sequence[str], kind: str) -> dict[str, str]:
        """The texts of the known names; unknown names are noted."""
        for name in said:
            if name not in names:
                near = nearest(name, names)
                mend = f'write "{near}"' if near else f"write one of: {', '.join(names) or 'none is set out'}"
                self.problems.append(self.where.problem(f'the {kind} "{name}" is not in series.toml', mend))
        return {name: said_text(said[name]) for name in names if name in said}

    def numbered(self, name: str, number: int | None, most: int = _HIGHEST) -> None:
        """Note a number that cannot be."""
        if number is not None and not 1 <= number <= most:
            self.problems.append(self.where.problem(f"{name} says {number}", f"write a number from 1 to {most}"))


def read_said(
    series: MeltSeries,
    said: Said,
    where: Where,
    *,
    known_date: datetime.date | None = None,
    decimal: DecimalMark | None = None,
    dates: DayOrder | None = None,
) -> tuple[ReadSaid, tuple[Problem, ...]]:
    """Read everything that was said.

    Parameters
    ----------
    where : where problems are said to stand.
    known_date : the date on record for this melt.
    decimal, dates : how numbers and dates are written, where that is known.

    Returns
    -------
    What could be read, and every problem.
    """
    faults = _Faults(where)
    faults.numbered("melt", said.melt)
    faults.numbered("mould", said.mould, series.moulds_per_melt)
    faults.numbered("firing", said.firing)
    settings = {
        name: faults.tried(read_actual, series.factor(name), text, decimal)
        for name, text in faults.known(said.settings, series.factor_names, "factor").items()
    }
    seen: dict[str, Seen] = {}
    for name, text in faults.known(said.seen, [outcome.name for outcome in series.outcomes], "outcome").items():
        if (value := faults.tried(read_outcome, series.outcome(name), text, decimal)) is not None:
            seen[name] = value
    by_name = {circumstance.name: circumstance for circumstance in series.circumstances}
    circumstances = {
        name: faults.tried(read_circumstance, by_name[name], text, decimal)
        for name, text in faults.known(said.circumstances, list(by_name), "circumstance").items()
    }
    note = None if said.note is None else faults.tried(read_text, "note", said.note)
    date = said.date
    if isinstance(date, str):
        date = faults.tried(read_date, date, dates, known_date)
    elif isinstance(date, datetime.datetime):
        date = date.date()
    return ReadSaid(settings, seen, circumstances, note, date, said.firing), tuple(faults.problems)

"""log.csv: the journal as a table that people read, and edit in a spreadsheet.

The journal is the truth. Where log.csv says something new, it is an edit made in a spreadsheet: reading counts it in,
and `settling` enters it in the journal. Where it is an older state to the byte, a command was cut off before it could
write the table, and nothing is lost by writing it again. Anything else that the two disagree on is asked about.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from meltdoe.errors import Problem, ProblemsFound, WrongUsage
from meltdoe.files.store.journal import JOURNAL_NAME, Journal, read_journal
from meltdoe.files.tables.csv_table import named_columns, parse_table, read_if_there, refuse_cut_off, table_text
from meltdoe.files.tables.table_rows import loose
from meltdoe.log.dates import day_order, read_date
from meltdoe.log.entry import (
    Key,
    Row,
    Where,
    entry_row,
    log_columns,
    log_problems,
    number_columns,
    read_entry,
    row_texts,
)  # fmt: skip
from meltdoe.log.event import Event
from meltdoe.log.history import Change, changes_between, compare
from meltdoe.log.melt_log import Entry, Log
from meltdoe.log.new_columns import NewColumns, earlier_cells, new_columns
from meltdoe.log.numbers import CellFault
from meltdoe.log.replay import State, States, states
from meltdoe.series.melt_series import MeltSeries
from meltdoe.wording import listed

__all__ = [
    "LOG_NAME", "StoreReading", "check_log", "from_journal", "log_text", "parse_log", "read_log", "read_store",
    "series_folder",
]  # fmt: skip

LOG_NAME = "log.csv"
_NOTHING_NEW = NewColumns()


@dataclass(frozen=True)
class StoreReading:
    """What journal and log.csv say together; nothing is written to find it out.

    Parameters
    ----------
    content : the bytes of log.csv.
    states : the rows after each event of the journal.
    entries : the journal's rows with the edits of log.csv; without meaning while there are problems.
    changes : edits in log.csv that the journal does not have yet.
    stale : why log.csv must be written again, such as "missing" or "an older copy to the letter"; empty where it need
        not be.
    """

    content: bytes
    journal: Journal
    states: States
    entries: tuple[Entry, ...]
    changes: tuple[Change, ...]
    problems: tuple[Problem, ...]
    stale: str

    def raise_problems(self) -> None:
        """Raise ProblemsFound where there are any."""
        if self.problems:
            raise ProblemsFound(self.problems)


def series_folder(series: MeltSeries) -> Path:
    """The folder of the series; raises WrongUsage for a series that lives in memory only."""
    if series.folder is None:
        raise WrongUsage("this series has no folder; read it from one with read_series, or name its folder")
    return series.folder


def log_text(series: MeltSeries, rows: Iterable[Row]) -> str:
    """The content of log.csv for the given rows."""
    columns = log_columns(series)
    return table_text(columns, ([row.get(column, "") for column in columns] for row in rows))


def parse_log(
    series: MeltSeries, content: bytes, known: State | None = None, new: NewColumns = _NOTHING_NEW
) -> tuple[tuple[tuple[Entry, Where], ...], tuple[Problem, ...]]:
    """Read the content of a log.csv.

    Parameters
    ----------
    known : rows on record; their dates settle dates that could be two.
    new : columns that came to the series after its journal.

    Returns
    -------
    The rows with the place of each, and every problem.
    """
    try:
        refuse_cut_off(content, LOG_NAME)
        table = parse_table(content, LOG_NAME, log_columns(series))
        rows = named_columns(table, log_columns(series), new.may_lack, new.mends)
    except ProblemsFound as found:
        return (), found.problems
    decimal = table.decimal([cells.get(column, "") for _, cells in rows for column in number_columns(series)])
    earlier = row_texts(earlier_cells(series))
    dates = day_order(cells["date"] for _, cells in rows)
    read: list[tuple[Entry, Where]] = []
    problems: list[Problem] = []
    for line, cells in rows:
        where = Where(LOG_NAME, line)
        entry, found_here = read_entry(
            series,
            {**earlier, **cells},
            where,
            decimal=decimal,
            dates=dates,
            known_date=_known_date(cells, known or {}),
            new=new.outcomes - cells.keys(),
        )
        problems += found_here
        if entry is not None:
            read.append((entry, where))
    problems += log_problems(series, read)
    return tuple(read), tuple(sorted(problems, key=lambda problem: problem.line or 0))


def _known_date(cells: dict[str, str], known: State) -> datetime.date | None:
    try:
        key: Key = (int(cells["melt"]), int(cells.get("mould") or 1))
        return read_date(str(known[key].get("date", "")))
    except (KeyError, ValueError, CellFault):
        return None


def read_store(series: MeltSeries) -> StoreReading:
    """Read journal and log.csv together, without writing anything.

    Raises
    ------
    ProblemsFound
        Where the journal or the file cannot be read at all; all other problems stand in the result.
    """
    folder = series_folder(series)
    content = read_if_there(folder / LOG_NAME) or b""  # before the journal, which is written first
    journal = read_journal(folder / JOURNAL_NAME)
    found = states(journal.events, JOURNAL_NAME, earlier_cells(series))
    new = new_columns(series, journal.events)
    state = found.last
    view = log_text(series, state.values()).encode()
    missing = not content.strip()
    if missing or (content != view and _is_earlier(series, content, journal.events, found)):
        entries, problems = from_journal(series, found, new.outcomes)
        changes = _awaited(series, state, entries)
        stale = "an older copy to the letter" if content.strip() else "missing" if state or content else ""
        return StoreReading(content, journal, found, entries, changes, problems, stale)
    rows, problems = parse_log(series, content, state, new)
    if problems:
        return StoreReading(content, journal, found, (), (), problems, stale="")
    if content == view:
        return StoreReading(content, journal, found, tuple(entry for entry, _ in rows), (), (), stale="")
    differs = compare(series, journal.events, found, rows, LOG_NAME)
    stale = _lacking(series, content, new)
    return StoreReading(content, journal, found, differs.entries, differs.changes, differs.conflicts, stale)


def _awaited(series: MeltSeries, state: State, entries: Sequence[Entry]) -> tuple[Change, ...]:
    """What entries read from the journal say of outcomes that came to the series after it."""
    keyed = {(entry.melt, entry.mould): entry_row(series, entry) for entry in entries}
    return tuple(change for key, row in keyed.items() for change in changes_between(series, key, state[key], row))


def _lacking(series: MeltSeries, content: bytes, new: NewColumns) -> str:
    """In words, the new columns that a table does not have yet; empty where it has them all."""
    if not new.may_lack:
        return ""
    columns = log_columns(series)
    there = {loose(heading) for heading in parse_table(content, LOG_NAME, columns).headings}
    lacks = [column for column in columns if column in new.may_lack and loose(column) not in there]
    return f"without the new column{'s' * (len(lacks) > 1)} {listed(lacks)}" if lacks else ""


_MOST_TRIES = 100


def _is_earlier(series: MeltSeries, content: bytes, events: Sequence[Event], found: States) -> bool:
    """Whether the file is an earlier state to the byte, left behind by a command since.

    Where only edits made in the file itself came after that state, the file was changed back and is no old copy.
    Only states of the file's length are written out to compare; with too many of those the answer is no, and the
    file is looked at row by row.
    """
    head = len(log_text(series, ()).encode())

    def length(row: Row | None) -> int:
        return 0 if row is None else len(log_text(series, [row]).encode()) - head

    lengths = [head]
    for patch in found.patches:
        lengths.append(lengths[-1] + sum(length(after) - length(before) for before, after in patch.values()))
    alike = [i for i in range(len(lengths) - 2, -1, -1) if lengths[i] == len(content)]
    for i in alike[:_MOST_TRIES]:
        if log_text(series, found[i].values()).encode() == content:
            return any(event.kind != "spreadsheet edit" for event in events[i:])
    return False


def from_journal(
    series: MeltSeries, found: States, new: Collection[str] = ()
) -> tuple[tuple[Entry, ...], tuple[Problem, ...]]:
    """The rows of the journal as entries; a problem names the line that a row came from.

    Parameters
    ----------
    new : outcomes that came to the series after its journal.
    """
    entries: list[tuple[Entry, Where]] = []
    problems: list[Problem] = []
    for key, row in found.last.items():
        where = Where(JOURNAL_NAME, found.versions[key][-1][0])
        entry, found_here = read_entry(series, row_texts(row), where, decimal=".", new=new)
        problems += found_here
        if entry is not None:
            entries.append((entry, where))
    problems += log_problems(series, entries)
    return tuple(entry for entry, _ in entries), tuple(problems)


def check_log(series: MeltSeries) -> tuple[Log | None, tuple[Problem, ...]]:
    """The log with every problem of log.csv and the journal; the log is None while there are any."""
    try:
        reading = read_store(series)
    except ProblemsFound as found:
        return None, found.problems
    if reading.problems:
        return None, reading.problems
    return Log(series, reading.entries), ()


def read_log(series: MeltSeries) -> Log:
    """The log, edits made in a spreadsheet included; nothing is written.

    Raises
    ------
    ProblemsFound
        Every problem and every open question of log.csv and the journal.
    """
    log, problems = check_log(series)
    if log is None:
        raise ProblemsFound(problems)
    return log

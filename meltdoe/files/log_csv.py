"""log.csv: the journal as a table that people read, and edit in a spreadsheet.

The journal is the truth. Where log.csv says something new, it is an edit made in a spreadsheet: reading counts it in,
and `settle` enters it in the journal. Where it is an older state to the byte, a command was cut off before it could
write the table, and nothing is lost by writing it again. Anything else that the two disagree on is asked about.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from meltdoe.errors import Problem, ProblemsFound, WrongUsage
from meltdoe.files.journal import JOURNAL_NAME, Journal, append_event, mend_journal, read_journal
from meltdoe.files.lock import locked
from meltdoe.files.safe_write import remove_leftovers, write_file
from meltdoe.files.tables import named_columns, parse_table, read_if_there, refuse_cut_off, table_text
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
from meltdoe.log.history import Change, compare
from meltdoe.log.melt_log import Entry, Log
from meltdoe.log.numbers import CellFault
from meltdoe.log.replay import State, States, states
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "LOG_NAME", "Settled", "StoreReading", "check_log", "log_text", "open_store", "parse_log", "pending", "read_log",
    "read_store", "series_folder", "settle", "settle_locked", "write_log_view",
]  # fmt: skip

LOG_NAME = "log.csv"


@dataclass(frozen=True)
class StoreReading:
    """What journal and log.csv say together; nothing is written to find it out.

    Parameters
    ----------
    content : the bytes of log.csv.
    states : the rows after each event of the journal.
    entries : the journal's rows with the edits of log.csv; without meaning while there are problems.
    changes : edits in log.csv that the journal does not have yet.
    stale : whether log.csv is missing, empty or an earlier state, and must be written again.
    """

    content: bytes
    journal: Journal
    states: States
    entries: tuple[Entry, ...]
    changes: tuple[Change, ...]
    problems: tuple[Problem, ...]
    stale: bool

    def raise_problems(self) -> None:
        """Raise ProblemsFound where there are any."""
        if self.problems:
            raise ProblemsFound(self.problems)


@dataclass(frozen=True, slots=True)
class Settled:
    """What `settle` did.

    Parameters
    ----------
    changes : edits made in a spreadsheet that are now in the journal.
    rewritten : why log.csv was written again from the journal, "missing" or "an older copy to the letter"; else empty.
    """

    changes: tuple[Change, ...] = ()
    rewritten: str = ""

    def lines(self, series: MeltSeries) -> tuple[str, ...]:
        """What a person should be told of it."""
        said = [f"Edit found in log.csv and entered in the journal: {change.show(series)}" for change in self.changes]
        if self.rewritten:
            said.append(f"log.csv was {self.rewritten}, and was written again from the journal")
        return tuple(said)


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
    series: MeltSeries, content: bytes, known: State | None = None
) -> tuple[tuple[tuple[Entry, Where], ...], tuple[Problem, ...]]:
    """Read the content of a log.csv.

    Parameters
    ----------
    known : rows on record; their dates settle dates that could be two.

    Returns
    -------
    The rows with the place of each, and every problem.
    """
    try:
        refuse_cut_off(content, LOG_NAME)
        table = parse_table(content, LOG_NAME, log_columns(series))
        rows = named_columns(table, log_columns(series))
    except ProblemsFound as found:
        return (), found.problems
    decimal = table.decimal([cells[column] for _, cells in rows for column in number_columns(series)])
    dates = day_order(cells["date"] for _, cells in rows)
    read: list[tuple[Entry, Where]] = []
    problems: list[Problem] = []
    for line, cells in rows:
        where = Where(LOG_NAME, line)
        entry, found_here = read_entry(
            series, cells, where, decimal=decimal, dates=dates, known_date=_known_date(cells, known or {})
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
    found = states(journal.events, JOURNAL_NAME)
    state = found.last
    view = log_text(series, state.values()).encode()
    missing = not content.strip()
    if missing or (content != view and _is_earlier(series, content, journal.events, found)):
        entries, problems = _from_journal(series, found)
        return StoreReading(content, journal, found, entries, (), problems, stale=bool(state) or not missing)
    rows, problems = parse_log(series, content, state)
    if problems:
        return StoreReading(content, journal, found, (), (), problems, stale=False)
    if content == view:
        return StoreReading(content, journal, found, tuple(entry for entry, _ in rows), (), (), stale=False)
    differs = compare(series, journal.events, found, rows, LOG_NAME)
    return StoreReading(content, journal, found, differs.entries, differs.changes, differs.conflicts, stale=False)


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


def _from_journal(series: MeltSeries, found: States) -> tuple[tuple[Entry, ...], tuple[Problem, ...]]:
    """The rows of the journal as entries; a problem names the line that a row came from."""
    entries: list[tuple[Entry, Where]] = []
    problems: list[Problem] = []
    for key, row in found.last.items():
        where = Where(JOURNAL_NAME, found.versions[key][-1][0])
        entry, found_here = read_entry(series, row_texts(row), where, decimal=".")
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


def pending(series: MeltSeries) -> tuple[str, ...]:
    """What the next record will do to journal and log.csv by itself, as sentences; nothing is written.

    Raises
    ------
    ProblemsFound
        As `read_log`.
    """
    reading = read_store(series)
    reading.raise_problems()
    lines = [f"log.csv has an edit that the journal has not yet: {change.show(series)}" for change in reading.changes]
    if reading.stale:
        lines.append(f"log.csv is {_stale_word(reading)} and will be written again from the journal")
    if reading.journal.torn:
        lines.append("the last line of journal.jsonl was cut off while being written, and will be set aside in it")
    if reading.journal.older is not None:
        lines.append("journal.jsonl is of an older format and will be brought up to date, with a copy kept")
    return tuple(lines)


def _stale_word(reading: StoreReading) -> str:
    return "an older copy to the letter" if reading.content.strip() else "missing"


def settle(series: MeltSeries) -> Settled:
    """Enter edits made in a spreadsheet in the journal, and write log.csv again where a command was cut off.

    Where there is nothing to do, nothing is locked or written, so that it works in a read-only folder too.

    Raises
    ------
    ProblemsFound
        Where log.csv has problems or contradicts the journal; nothing is written then.
    """
    reading = read_store(series)
    reading.raise_problems()
    if not (reading.changes or reading.stale or reading.journal.older):
        return Settled()
    with locked(series_folder(series)):
        return settle_locked(series, open_store(series))[1]


def open_store(series: MeltSeries) -> StoreReading:
    """What journal and log.csv say, for a caller that holds the lock; nothing is written.

    Raises
    ------
    ProblemsFound
        Where log.csv has problems or contradicts the journal.
    """
    folder = series_folder(series)
    for name in (LOG_NAME, JOURNAL_NAME):
        remove_leftovers(folder / name)
    reading = read_store(series)
    reading.raise_problems()
    return reading


def settle_locked(series: MeltSeries, reading: StoreReading) -> tuple[StoreReading, Settled]:
    """`settle` for a caller that holds the lock and has opened the store; also returns what it says afterwards."""
    path = series_folder(series) / JOURNAL_NAME
    if (read_if_there(series_folder(series) / LOG_NAME) or b"") != reading.content:
        what = "was saved by another program while it was being read"
        raise ProblemsFound.single(LOG_NAME, None, what, "run the command again; nothing was changed")
    journal = mend_journal(path, reading.journal)
    if reading.changes:
        edited = dict.fromkeys(change.key for change in reading.changes)
        by_key = {(entry.melt, entry.mould): entry_row(series, entry) for entry in reading.entries}
        data = {
            "rows": [by_key[key] for key in edited],
            "changes": [change.show(series) for change in reading.changes],
        }
        journal = append_event(path, journal, "spreadsheet edit", data)
    found = states(journal.events, JOURNAL_NAME)
    content = reading.content
    if reading.stale:
        content = write_log_view(series, found.last, content)
    after = StoreReading(content, journal, found, reading.entries, (), (), stale=False)
    return after, Settled(reading.changes, _stale_word(reading) if reading.stale else "")


def write_log_view(series: MeltSeries, state: State, known: bytes) -> bytes:
    """Write log.csv from the rows of the journal; returns its bytes.

    Parameters
    ----------
    known : what the file held when it was read.

    Raises
    ------
    ProblemsFound
        Where it cannot be written, or another program saved it since it was read; it stands as it was then.
    """
    path = series_folder(series) / LOG_NAME
    if (read_if_there(path) or b"") != known:
        what = "was saved by another program at the same moment, and stands as that left it"
        raise ProblemsFound.single(LOG_NAME, None, what, "see what it lacks with: meltdoe check")
    view = log_text(series, state.values()).encode()
    write_file(path, view)
    return view

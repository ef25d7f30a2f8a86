"""Bringing journal and log.csv into line: edits made in a spreadsheet entered, a table left behind written again.

Every command that reads the log does this first, and tells of it. Where the folder cannot be written, the edits count
all the same and wait for the next command.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.lock import locked
from meltdoe.files.disk.safe_write import remove_leftovers, write_file
from meltdoe.files.store.journal import JOURNAL_NAME, append_event, mend_journal
from meltdoe.files.store.log_csv import LOG_NAME, StoreReading, log_text, read_store, series_folder
from meltdoe.files.tables.csv_table import read_if_there
from meltdoe.log.entry import entry_row
from meltdoe.log.history import Change
from meltdoe.log.melt_log import Log
from meltdoe.log.new_columns import earlier_cells
from meltdoe.log.replay import State, states
from meltdoe.series.melt_series import MeltSeries
from meltdoe.wording import counted, melts_phrase

__all__ = ["Settled", "open_store", "pending", "settle", "settle_locked", "settled_log", "write_log_view"]


@dataclass(frozen=True, slots=True)
class Settled:
    """What `settle` did.

    Parameters
    ----------
    changes : edits made in a spreadsheet that are now in the journal.
    rewritten : why log.csv was written again from the journal, such as "missing"; empty where it was not.
    """

    changes: tuple[Change, ...] = ()
    rewritten: str = ""

    def lines(self, series: MeltSeries) -> tuple[str, ...]:
        """What a person should be told of it."""
        said = []
        if len(self.changes) == 1:
            said.append(f"Edit found in log.csv and entered in the journal: {self.changes[0].show(series)}")
        elif self.changes:
            said.append(
                f"{counted(len(self.changes), 'edit')} found in log.csv ({_melts(self.changes)}) and entered in the "
                "journal; to see each: meltdoe log"
            )
        if self.rewritten:
            said.append(f"log.csv was {self.rewritten}, and was written again from the journal")
        return tuple(said)


def pending(series: MeltSeries, *, briefly: bool = False) -> tuple[str, ...]:
    """What the next record will do to journal and log.csv by itself, as sentences; nothing is written.

    Parameters
    ----------
    briefly : all edits in one sentence, not a sentence each.

    Raises
    ------
    ProblemsFound
        As `read_log`.
    """
    reading = read_store(series)
    reading.raise_problems()
    changes = reading.changes
    if briefly and len(changes) > 1:
        what = f"{counted(len(changes), 'edit')} that the journal has not yet ({_melts(changes)})"
        lines = [f"log.csv has {what}; to see each: meltdoe check"]
    else:
        lines = [f"log.csv has an edit that the journal has not yet: {change.show(series)}" for change in changes]
    if reading.stale:
        lines.append(f"log.csv is {reading.stale} and will be written again from the journal")
    lines += [f"journal.jsonl is mended by the next record: {fault}" for fault in reading.journal.faults()]
    return tuple(lines)


def _melts(changes: Sequence[Change]) -> str:
    return melts_phrase(sorted({change.key[0] for change in changes}))


def _to_settle(reading: StoreReading) -> bool:
    return bool(reading.changes or reading.stale or reading.journal.older)


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
    if not _to_settle(reading):
        return Settled()
    with locked(series_folder(series)):
        return settle_locked(series, open_store(series))[1]


def settled_log(series: MeltSeries) -> tuple[Log, tuple[str, ...]]:
    """The log, with edits made in a spreadsheet entered in the journal where that can be written.

    Returns
    -------
    The log, and what a person should be told: what was entered, or what could not be and counts all the same.

    Raises
    ------
    ProblemsFound
        As `read_log`. A folder that cannot be written is no problem here.
    """
    reading = read_store(series)
    reading.raise_problems()
    if not _to_settle(reading):
        return Log(series, reading.entries), ()
    try:
        told = settle(series).lines(series)
    except ProblemsFound as found:
        waiting = pending(series, briefly=True)  # raises where the log itself is what stands against it
        told = (*waiting, f"This counts here, but could not be written ({found.problems[0].what})")
    reading = read_store(series)
    reading.raise_problems()
    return Log(series, reading.entries), told


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
    found = states(journal.events, JOURNAL_NAME, earlier_cells(series))
    content = reading.content
    if reading.stale:
        content = write_log_view(series, found.last, content)
    after = StoreReading(content, journal, found, reading.entries, (), (), stale="")
    return after, Settled(reading.changes, reading.stale)


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

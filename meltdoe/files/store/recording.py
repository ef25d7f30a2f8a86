"""Putting down what happened: new melts, completions, corrections, removals and undoing, each durable when it returns.

The journal is written and flushed to disk first, then log.csv is replaced at one stroke, all under the folder's lock.
A command that fails before the journal line is whole has changed nothing; one that fails after it has recorded, and
the next command writes log.csv again.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.lock import locked
from meltdoe.files.disk.safe_write import remove_leftovers, write_file
from meltdoe.files.disk.set_aside import keep_aside
from meltdoe.files.store.journal import JOURNAL_NAME, append_event, mend_journal, read_journal, safe_all_the_same
from meltdoe.files.store.log_csv import LOG_NAME, StoreReading, from_journal, log_text, series_folder
from meltdoe.files.store.plan_csv import PLAN_NAME, is_plan, last_plan, plan_text, planned_melts
from meltdoe.files.store.settling import Settled, open_store, settle_locked, write_log_view
from meltdoe.files.tables.csv_table import read_if_there
from meltdoe.log.cell_words import clean_text
from meltdoe.log.draft import Draft, How, Planned, Unsaid, draft_entry
from meltdoe.log.entry import Where, entry_row, key_text
from meltdoe.log.event import Event, Kind
from meltdoe.log.history import Change, history_lines
from meltdoe.log.melt_log import Entry
from meltdoe.log.new_columns import earlier_cells, new_columns
from meltdoe.log.replay import last_undoable, states
from meltdoe.log.said import Said, SaidValue
from meltdoe.series.melt_series import MeltSeries

__all__ = ["Rebuilt", "RecordResult", "Undone", "history", "rebuild", "record_melt", "remove_melt", "undo"]

_SPOKEN = ""  # no file is at fault for what somebody says of a melt


@dataclass(frozen=True, slots=True)
class RecordResult:
    """A melt that is now on record.

    Parameters
    ----------
    how : "new", "completed" (what was not known yet was filled in), "corrected", or "unchanged" (on record just so).
    entry : the row as it now stands.
    was : the row before, or None.
    changes : the cells that changed, those of the same melt's other moulds included.
    notices : what was filled in without being said, as sentences.
    settled : edits made in a spreadsheet that were entered first.
    event : number of the journal's event, or None where nothing was written. A correction that changes nothing is
        written where it has a reason.
    """

    how: How
    entry: Entry
    was: Entry | None
    changes: tuple[Change, ...]
    notices: tuple[str, ...]
    settled: Settled
    event: int | None

    @property
    def melt(self) -> int:
        """Number of the melt."""
        return self.entry.melt


@dataclass(frozen=True, slots=True)
class Undone:
    """What was taken back or taken out.

    Parameters
    ----------
    event : number of the new event in the journal.
    lines : what it did, for people.
    """

    event: int
    lines: tuple[str, ...]
    settled: Settled


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """log.csv written anew from the journal.

    Parameters
    ----------
    melts : how many rows it holds.
    set_aside : where the log.csv that stood there was kept, or None where it held nothing else.
    lines : what was done, for people.
    """

    path: Path
    melts: int
    set_aside: Path | None
    lines: tuple[str, ...]


def record_melt(
    series: MeltSeries,
    melt: int | None = None,
    *,
    settings: Mapping[str, SaidValue] | None = None,
    seen: Mapping[str, SaidValue] | None = None,
    circumstances: Mapping[str, SaidValue] | None = None,
    note: str | None = None,
    date: datetime.date | str | None = None,
    firing: int | None = None,
    mould: int = 1,
    correct: bool = False,
    unsaid: Unsaid = "ask",
    reason: str = "",
) -> RecordResult:
    """Put down a melt.

    Parameters
    ----------
    melt : its number in the plan or in the log; None takes the next free number for a melt outside the plan.
    settings : actual settings by factor, as numbers or as text with or without a unit. What is left out is as in the
        same firing where it is set once per firing, else as planned.
    seen : outcomes by name, as `Outcome` values or as people write them ("yes", "80 %", "later").
    firing : left out, the plan's; outside the plan, the next one.
    correct : replace what is on record. Without it, a second record of a melt may only fill in what was not known.
    unsaid : what an outcome is that the melt must have reached and that is not spoken of: a question to the user,
        or "later" or "lost".
    reason : why a correction is made; kept in the journal.

    Raises
    ------
    ProblemsFound
        Every problem of what was said, of log.csv or of the journal; nothing is recorded then.
    """
    said = Said(melt, settings or {}, seen or {}, circumstances or {}, note, date, firing, mould)
    with locked(series_folder(series)):
        reading = open_store(series)
        plan = planned(series, reading.journal.events)
        draft = draft_entry(series, plan, reading.entries, said, Where(_SPOKEN), correct=correct, unsaid=unsaid)
        if draft.problems:
            raise ProblemsFound(draft.problems)
        reading, settled = settle_locked(series, reading)
        if draft.how == "unchanged" and draft.was is not None:
            kept = _reason_kept(series, reading, draft.was, reason) if correct else None
            return RecordResult("unchanged", draft.was, draft.was, (), draft.notices, settled, kept)
        event = commit(series, reading, "correct" if correct else "record", _data(series, [draft], reason=reason))
    return RecordResult(draft.how, draft.entries[0], draft.was, draft.changes, draft.notices, settled, event)


def remove_melt(series: MeltSeries, melt: int, reason: str, mould: int | None = None) -> Undone:
    """Take a melt out of the log, with a reason; it stays in the journal.

    Raises
    ------
    ProblemsFound
        Where it is not in the log or no reason is given.
    """
    why = _reason(reason)
    with locked(series_folder(series)):
        reading = open_store(series)
        on_record = [(entry.melt, entry.mould) for entry in reading.entries]
        gone = [key for key in on_record if key[0] == melt and mould in (None, key[1])]
        if not gone:
            name = key_text((melt, mould or 1), series) if mould else f"melt {melt}"
            mend = "see the numbers on record with: meltdoe log"
            raise ProblemsFound.single(_SPOKEN, None, f"{name} is not in the log", mend)
        reading, settled = settle_locked(series, reading)
        event = commit(series, reading, "remove", {"melt": melt, "mould": mould, "reason": why})
    return Undone(event, tuple(f"{key_text(key, series)} taken out" for key in gone), settled)


def undo(series: MeltSeries, reason: str = "") -> Undone:
    """Take back the last change of the log that is still in force; called again, the one before it.

    Raises
    ------
    ProblemsFound
        Where there is nothing to take back.
    """
    with locked(series_folder(series)):
        reading = open_store(series)
        if not reading.changes and last_undoable(reading.journal.events) is None:
            raise ProblemsFound.single(_SPOKEN, None, "there is nothing to take back", "record a melt first")
        reading, settled = settle_locked(series, reading)
        events = reading.journal.events
        last = last_undoable(events)
        assert last is not None  # an edit that was just entered can be taken back, too
        event = commit(series, reading, "undo", {"event": last.number, "reason": clean_text(reason)})
    return Undone(event, (history_lines(series, events, reading.states)[last.number - 1],), settled)


def rebuild(series: MeltSeries) -> Rebuilt:
    """Write log.csv from the journal, and plan.csv where it is missing or cannot be read.

    A table that says anything else is kept beside it under a name with the time. It is the way out where a table was
    damaged or an old copy was saved over it.

    Raises
    ------
    ProblemsFound
        Where the journal is missing or broken, or the folder cannot be written.
    """
    folder = series_folder(series)
    with locked(folder):
        for name in (LOG_NAME, PLAN_NAME, JOURNAL_NAME, "*-set-aside-*"):
            remove_leftovers(folder / name)
        journal = read_journal(folder / JOURNAL_NAME)
        if not journal.events:
            mend = "restore it from a copy; without one, the next record begins a new journal from log.csv"
            raise ProblemsFound.single(JOURNAL_NAME, None, "is empty or missing", mend)
        lines = [f"{JOURNAL_NAME} mended: {fault}" for fault in journal.faults()]
        journal = mend_journal(folder / JOURNAL_NAME, journal)
        found = states(journal.events, JOURNAL_NAME, earlier_cells(series))
        entries, problems = from_journal(series, found, new_columns(series, journal.events).outcomes)
        state = found.last if problems else {(e.melt, e.mould): entry_row(series, e) for e in entries}
        path, set_aside = folder / LOG_NAME, None
        content = read_if_there(path) or b""
        if content.strip() and content != log_text(series, state.values()).encode():
            set_aside = keep_aside(path, content)
            lines.append(f"{LOG_NAME} said something else, and is kept as {set_aside.name}")
        write_log_view(series, state, content)
        lines.append(f"{LOG_NAME} written afresh from the journal: {len(state)} rows")
        plan = last_plan(series, journal.events)
        content = read_if_there(folder / PLAN_NAME) or b""
        if plan and not is_plan(series, content):
            if content.strip():
                lines.append(
                    f"{PLAN_NAME} could not be read, and is kept as {keep_aside(folder / PLAN_NAME, content).name}"
                )
            write_file(folder / PLAN_NAME, plan_text(series, plan))
            lines.append(f"{PLAN_NAME} written afresh from the journal: {len(plan)} melts")
    return Rebuilt(path, len(state), set_aside, tuple(lines))


def history(series: MeltSeries) -> tuple[str, ...]:
    """Everything in the journal, one line an event, oldest first.

    Raises
    ------
    ProblemsFound
        Where the journal is broken.
    """
    events: Sequence[Event] = read_journal(series_folder(series) / JOURNAL_NAME).events
    return history_lines(series, events, states(events, JOURNAL_NAME))


def planned(series: MeltSeries, events: Sequence[Event]) -> Planned:
    """Firing and settings of every planned melt."""
    return {melt.melt: (melt.firing, melt.settings) for melt in planned_melts(series, events)}


def _data(series: MeltSeries, drafts: Sequence[Draft], **more: str) -> dict[str, Any]:
    rows = [entry_row(series, entry) for draft in drafts for entry in draft.entries]
    return {"rows": rows, **{name: clean_text(text) for name, text in more.items() if text}}


def _reason_kept(series: MeltSeries, reading: StoreReading, entry: Entry, reason: str) -> int | None:
    """Put the reason of a correction that changes nothing into the journal; None where there is none to put there."""
    data = {"rows": [entry_row(series, entry)], "reason": clean_text(reason)}
    last = reading.journal.events[-1] if reading.journal.events else None
    if not data["reason"] or (last is not None and (last.kind, last.data.get("reason")) == ("correct", data["reason"])):
        return None
    return commit(series, reading, "correct", data)


def _reason(reason: str) -> str:
    why = clean_text(reason)
    if not why:
        what, mend = "a melt is taken out only with a reason", "say why, with: --reason ..."
        raise ProblemsFound.single(_SPOKEN, None, what, mend)
    return why


def commit(series: MeltSeries, reading: StoreReading, kind: Kind, data: Mapping[str, Any]) -> int:
    """Write an event, then log.csv; returns the number of the event. The caller holds the lock.

    Raises
    ------
    ProblemsFound
        Where the journal cannot be written (nothing is changed then), or log.csv cannot (it is recorded then).
    """
    journal = append_event(series_folder(series) / JOURNAL_NAME, reading.journal, kind, data)
    try:
        found = states(journal.events, JOURNAL_NAME, earlier_cells(series))
        write_log_view(series, found.last, reading.content)
    except ProblemsFound as found:
        raise safe_all_the_same(f"the {kind}", found) from found
    return journal.events[-1].number

"""The journal replayed: which rows it holds, what each event changed, and how log.csv differs from it.

Every event is kept for ever. A correction or an undoing is a new event, so each earlier state can be seen again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias, get_args

from meltdoe.errors import Problem, ProblemsFound
from meltdoe.log.cell_words import text_cell
from meltdoe.log.entry import Key, Row, Where, entry_row, key_text, log_columns
from meltdoe.log.melt_log import Entry
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "Change", "Comparison", "Event", "Kind", "State", "changes_between", "compare", "history_lines", "last_undoable",
    "row_key", "states",
]  # fmt: skip

Kind: TypeAlias = Literal["plan", "record", "correct", "remove", "import", "spreadsheet edit", "undo", "mended"]
State: TypeAlias = dict[Key, Row]
"""Rows in the order in which their melts were first recorded."""

KINDS: tuple[Kind, ...] = get_args(Kind)
_CHANGES_ROWS: tuple[Kind, ...] = ("record", "correct", "remove", "import", "spreadsheet edit")


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the journal.

    Parameters
    ----------
    number : 1, 2, 3, ... without a gap.
    time : when it was written, ISO 8601 with the offset from UTC.
    data : "rows" as they stand after the event (record, correct, import, spreadsheet edit), "melt" and "mould"
        (remove), "event" (undo), "melts" with "design", "reason" and "seed" (plan), "torn" (mended).
    """

    number: int
    time: str
    kind: Kind
    data: Mapping[str, Any]

    @property
    def day(self) -> str:
        """The date part of the time."""
        return self.time[:10]


@dataclass(frozen=True, slots=True)
class Change:
    """One cell that differs, or a whole new row where `column` is empty."""

    key: Key
    column: str
    before: str
    after: str

    def show(self, series: MeltSeries) -> str:
        """For people: 'melt 4: fill 80 -> 85'."""
        name = key_text(self.key, series)
        if not self.column:
            return f"{name}: added"
        return f"{name}: {self.column} {self.before or 'blank'} -> {self.after or 'blank'}"


def row_key(row: Mapping[str, Any]) -> Key:
    """Melt and mould of a row."""
    return int(row["melt"]), int(row.get("mould", 1))


def states(events: Sequence[Event], file: str) -> tuple[State, ...]:
    """The rows after each event; the first state, before any event, is empty.

    Raises
    ------
    ProblemsFound
        Where an event does not hold what its kind asks for.
    """
    found: list[State] = [{}]
    for line, event in enumerate(events, start=1):
        try:
            found.append(_after(event, found))
        except (KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
            raise ProblemsFound.single(
                file, line, f'the event "{event.kind}" cannot be understood', "restore the file from a copy"
            ) from error
    return tuple(found)


def _after(event: Event, found: Sequence[State]) -> State:
    data = event.data
    if event.kind == "undo":
        return found[int(data["event"]) - 1]  # only the last change still in force is ever undone
    if event.kind not in _CHANGES_ROWS:
        return found[-1]
    state = dict(found[-1])
    if event.kind == "remove":
        for key in [key for key in state if key[0] == data["melt"] and data.get("mould") in (None, key[1])]:
            del state[key]
        return state
    for row in data["rows"]:
        state[row_key(row)] = {str(column): cell for column, cell in row.items()}
    return state


def last_undoable(events: Sequence[Event]) -> Event | None:
    """The latest change of rows that is still in force."""
    undone = {int(event.data["event"]) for event in events if event.kind == "undo"}
    for event in reversed(events):
        if event.kind in _CHANGES_ROWS and event.number not in undone:
            return event
    return None


def changes_between(series: MeltSeries, key: Key, before: Row | None, after: Row) -> tuple[Change, ...]:
    """The cells in which two versions of a row differ, over the columns of the series."""
    if before is None:
        return (Change(key, "", "", ""),)
    return tuple(
        Change(key, column, text_cell(before.get(column, "")), text_cell(after.get(column, "")))
        for column in log_columns(series)
        if before.get(column, "") != after.get(column, "")
    )


@dataclass(frozen=True, slots=True)
class Comparison:
    """How log.csv differs from the journal.

    Parameters
    ----------
    entries : the journal's rows in its order with the file's changes, then the file's new rows.
    changes : what the file says anew.
    conflicts : what cannot be taken in without asking.
    """

    entries: tuple[Entry, ...]
    changes: tuple[Change, ...]
    conflicts: tuple[Problem, ...]


def compare(
    series: MeltSeries, events: Sequence[Event], found: Sequence[State], rows: Sequence[tuple[Entry, Where]], file: str
) -> Comparison:
    """Tell edits made in a spreadsheet from an old copy that was saved over newer rows.

    A row that the file lacks, or a cell that holds what a later command replaced, is a conflict: it is what an old
    copy looks like, and taking it in would lose what was recorded since.

    Parameters
    ----------
    found : the states after each event, as `states` gives them.
    rows : the rows of the file with the place where each stands.
    """
    state = found[-1]
    in_file = {(entry.melt, entry.mould): (entry, where) for entry, where in rows}
    changes: list[Change] = []
    conflicts: list[Problem] = []
    for key, (entry, where) in in_file.items():
        gone = None if key in state else _taken_out(events, found, key)
        if gone is not None:
            what = f"{key_text(key, series)} is in this file again, though it was taken out on {gone.day}"
            conflicts.append(where.problem(what, "delete the row here, or record the melt again"))
            continue
        for change in changes_between(series, key, state.get(key), entry_row(series, entry)):
            if change.column and (event := _replaced(events, found, change)) is not None:
                conflicts.append(
                    where.problem(
                        f'{key_text(key, series)} has {change.column} "{change.after}", which was replaced by '
                        f'"{change.before}" on {event.day}',
                        f'write "{change.before}" here, or record the melt again as a correction',
                    )
                )
            else:
                changes.append(change)
    for key in state:
        if key not in in_file:
            conflicts.append(
                Problem(
                    file,
                    None,
                    f"{key_text(key, series)} is in the journal and no longer in this file",
                    "rebuild the log to bring it back, or remove the melt with a reason",
                )
            )
    order = [key for key in state if key in in_file] + [key for key in in_file if key not in state]
    return Comparison(tuple(in_file[key][0] for key in order), tuple(changes), tuple(conflicts))


def _taken_out(events: Sequence[Event], found: Sequence[State], key: Key) -> Event | None:
    """The last command that took a melt out, or None where it never was in."""
    return next((events[i - 1] for i in range(len(found) - 1, 0, -1) if key in found[i - 1]), None)


def _replaced(events: Sequence[Event], found: Sequence[State], change: Change) -> Event | None:
    """The command that replaced what the file says in this cell, or None where the file says something new."""

    def cell(i: int) -> str | None:
        row = found[i].get(change.key)
        return None if row is None else text_cell(row.get(change.column, ""))

    now = len(found) - 1
    set_by = next((i for i in range(now, 0, -1) if cell(i - 1) != change.before), None)
    if set_by is None or events[set_by - 1].kind == "spreadsheet edit":
        return None  # what came from the file may be changed back in the file
    earlier = {cell(i) for i in range(set_by)}
    return events[set_by - 1] if change.after in earlier else None


def history_lines(series: MeltSeries, events: Sequence[Event], found: Sequence[State]) -> tuple[str, ...]:
    """Every event as one line for people, oldest first."""
    undone = {int(event.data["event"]): event.number for event in events if event.kind == "undo"}
    lines = []
    for i, event in enumerate(events):
        said = " ".join(_told(series, event, found[i], found[i + 1]).split())
        mark = f" [undone by {undone[event.number]}]" if event.number in undone else ""
        lines.append(f"{event.number}. {event.time[:16].replace('T', ' ')} {said}{mark}")
    return tuple(lines)


def _told(series: MeltSeries, event: Event, before: State, after: State) -> str:
    data = event.data
    reason = f" ({data['reason']})" if data.get("reason") else ""
    if event.kind == "plan":
        return f"plan: {len(data['melts'])} melts, {data['design']}, seed {data['seed']}"
    if event.kind == "undo":
        return f"undo: event {data['event']} taken back{reason}"
    if event.kind == "mended":
        return "mended: the last line was cut off while being written; what was left of it is kept here"
    if event.kind == "remove":
        gone = ", ".join(key_text(key, series) for key in before if key not in after)
        return f"remove: {gone}{reason}"
    told = [
        _row_phrase(series, key, row) if key not in before else "; ".join(
            change.show(series) for change in changes_between(series, key, before[key], row))
        for key, row in after.items()
        if before.get(key) != row
    ]  # fmt: skip
    source = f" from {data['source']}" if event.kind == "import" else ""
    return f"{event.kind}{source}: {'; '.join(told) or 'nothing new'}{reason}"


def _row_phrase(series: MeltSeries, key: Key, row: Row) -> str:
    cells = [
        f"{column} {text_cell(row[column])}"
        for column in log_columns(series)
        if column not in ("melt", "mould") and column in row
    ]
    return f"{key_text(key, series)}: {', '.join(cells)}"

"""What changed: how log.csv differs from the journal, and what each event did, in words.

Every event is kept for ever. A correction or an undoing is a new event, so each earlier state can be seen again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meltdoe.errors import Problem
from meltdoe.log.cell_words import text_cell
from meltdoe.log.entry import Key, Row, Where, entry_row, key_text, log_columns
from meltdoe.log.event import Event
from meltdoe.log.melt_log import Entry
from meltdoe.log.numbers import shortened
from meltdoe.log.replay import Patch, States
from meltdoe.series.melt_series import MeltSeries

__all__ = ["Change", "Comparison", "changes_between", "compare", "history_lines"]


_FEW = 3


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
        before, after = shortened(self.before), shortened(self.after)
        return f"{name}: {self.column} {before or 'blank'} -> {after or 'blank'}"


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
    series: MeltSeries, events: Sequence[Event], found: States, rows: Sequence[tuple[Entry, Where]], file: str
) -> Comparison:
    """Tell edits made in a spreadsheet from an old copy that was saved over newer rows.

    A row that the file lacks, or a cell that holds what a later command replaced, is a conflict: it is what an old
    copy looks like, and taking it in would lose what was recorded since. A cell that was set in the file may be
    changed back in the file. But where the file says other things anew at the same time, it may as well be the
    window of a second editor that never saw the first one's edit, and is asked about.

    Parameters
    ----------
    found : the states after each event, as `states` gives them.
    rows : the rows of the file with the place where each stands.
    """
    state = found.last
    in_file = {(entry.melt, entry.mould): (entry, where) for entry, where in rows}
    changes: list[Change] = []
    turned_back: list[tuple[Change, Event, Where]] = []
    conflicts: list[Problem] = []
    for key, (entry, where) in in_file.items():
        gone = None if key in state or key not in found.versions else events[found.versions[key][-1][0] - 1]
        if gone is not None:
            what = f"{key_text(key, series)} is in this file again, though it was taken out on {gone.day}"
            conflicts.append(where.problem(what, "delete the row here; to have it back, record the melt anew"))
            continue
        for change in changes_between(series, key, state.get(key), entry_row(series, entry)):
            replacing = _replacing(events, found, change) if change.column else None
            if replacing is None:
                changes.append(change)
            elif replacing.kind == "spreadsheet edit":
                turned_back.append((change, replacing, where))
            else:
                conflicts.append(_conflict(series, change, replacing, where))
    if changes:
        conflicts += [_conflict(series, *back) for back in turned_back]
    else:
        changes = [change for change, _, _ in turned_back]
    for key in state:
        if key not in in_file:
            what = f"{key_text(key, series)} is in the journal and no longer in this file"
            mend = (
                "bring it back with: meltdoe check --rebuild; to take it out for good, after that: "
                f"meltdoe record --remove --melt {key[0]} --reason ..."
            )
            conflicts.append(Problem(file, None, what, mend))
    order = [key for key in state if key in in_file] + [key for key in in_file if key not in state]
    return Comparison(tuple(in_file[key][0] for key in order), tuple(changes), tuple(conflicts))


def _conflict(series: MeltSeries, change: Change, event: Event, where: Where) -> Problem:
    what = (
        f'{key_text(change.key, series)} has {change.column} "{shortened(change.after)}", which was replaced by '
        f'"{shortened(change.before)}" on {event.day}'
    )
    mend = (
        f'write "{shortened(change.before)}" here and save; where the older one is right after all, then: '
        f"meltdoe record --melt {change.key[0]} --correct ..."
    )
    return where.problem(what, mend)


def _replacing(events: Sequence[Event], found: States, change: Change) -> Event | None:
    """The event that replaced what the file says in this cell, or None where the file says something new."""

    def cell(row: Row | None) -> str | None:
        return None if row is None else text_cell(row.get(change.column, ""))

    cells = [(number, cell(row)) for number, row in found.versions[change.key]]
    set_by = len(cells) - 1
    while set_by and cells[set_by - 1][1] == change.before:
        set_by -= 1
    earlier = {text for _, text in cells[:set_by]}
    return events[cells[set_by][0] - 1] if change.after in earlier else None


def history_lines(series: MeltSeries, events: Sequence[Event], found: States) -> tuple[str, ...]:
    """Every event as one line for people, oldest first."""
    undone = {event.data["event"]: event.number for event in events if event.kind == "undo"}
    lines = []
    for event, patch in zip(events, found.patches, strict=True):
        said = " ".join(_told(series, event, patch).split())
        mark = f" [undone by {undone[event.number]}]" if event.number in undone else ""
        lines.append(f"{event.number}. {event.time[:16].replace('T', ' ')} {said}{mark}")
    return tuple(lines)


def _told(series: MeltSeries, event: Event, patch: Patch) -> str:
    data = event.data
    reason = f" ({data['reason']})" if data.get("reason") else ""
    if event.kind == "plan":
        return f"plan: {len(data['melts'])} melts, {data['design']}, seed {data['seed']}"
    if event.kind == "undo":
        return f"undo: event {data['event']} taken back{reason}"
    if event.kind == "mended":
        return "mended: the last line was cut off while being written; what was left of it is kept here"
    if event.kind == "remove":
        return f"remove: {', '.join(key_text(key, series) for key in patch)}{reason}"
    touched = {key: (before, row) for key, (before, row) in patch.items() if row and before != row}
    new = [key for key, (before, _) in touched.items() if before is None]
    told = [_patch_phrase(series, key, *both) for key, both in touched.items() if len(new) <= _FEW or key not in new]
    if len(new) > _FEW:  # the rows themselves stand in the log
        told.insert(0, f"{len(new)} rows added: {', '.join(key_text(key, series) for key in new)}")
    source = f" from {data['source']}" if event.kind == "import" else ""
    named = f"{', '.join(key_text(key, series) for key in patch)}: " if patch and event.kind == "correct" else ""
    return f"{event.kind}{source}: {'; '.join(told) or f'{named}nothing new'}{reason}"


def _patch_phrase(series: MeltSeries, key: Key, before: Row | None, row: Row) -> str:
    if before is not None:
        return "; ".join(change.show(series) for change in changes_between(series, key, before, row))
    cells = [
        f"{column} {shortened(text_cell(row[column]))}"
        for column in log_columns(series)
        if column not in ("melt", "mould") and column in row
    ]
    return f"{key_text(key, series)}: {', '.join(cells)}"

"""The journal replayed: which rows there were after each event, and what each event did to a row.

The changes still in force form a stack. An undoing takes the last one off; every other change is put on top. The rows
after an event are built only when they are asked for, so that a long journal takes little memory.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from meltdoe.errors import ProblemsFound
from meltdoe.log.entry import Key, Row
from meltdoe.log.event import CHANGES_ROWS, Event

__all__ = ["Patch", "State", "States", "last_undoable", "row_key", "states"]

State: TypeAlias = dict[Key, Row]
"""Rows in the order in which their melts were first recorded."""
Patch: TypeAlias = Mapping[Key, tuple[Row | None, Row | None]]
"""For each row that an event touched: how it was, and how it is; None where there was or is none."""


def row_key(row: Mapping[str, Any]) -> Key:
    """Melt and mould of a row."""
    return int(row["melt"]), int(row.get("mould", 1))


@dataclass(frozen=True, slots=True, eq=False)
class States:
    """The rows before the first event (none) and after each one.

    Parameters
    ----------
    last : the rows after the last event.
    patches : what each event did, the first event first.
    versions : for each row that ever was, the events that touched it and what it was after each.
    """

    last: State
    patches: tuple[Patch, ...]
    versions: Mapping[Key, Sequence[tuple[int, Row | None]]]
    _top: tuple[int, ...]
    _below: Mapping[int, int]

    def __len__(self) -> int:
        return len(self.patches) + 1

    def __getitem__(self, i: int) -> State:
        """The rows after event `i`; -1 stands for the last one."""
        after = range(len(self))[i]
        return self.last if after == len(self.patches) else _folded(self.patches, self._top[after], self._below)


def _folded(patches: Sequence[Patch], top: int, below: Mapping[int, int]) -> State:
    """The rows that the changes in force leave, in the order in which they came."""
    stack = []
    while top:
        stack.append(top)
        top = below[top]
    state: State = {}
    for number in reversed(stack):
        for key, (_, row) in patches[number - 1].items():
            if row is None:
                state.pop(key, None)
            else:
                state[key] = row
    return state


def states(events: Sequence[Event], file: str, earlier: Row | None = None) -> States:
    """Replay the events.

    Parameters
    ----------
    earlier : cells of columns that a row from before they were there does not have.

    Raises
    ------
    ProblemsFound
        Where an event takes back what is not the last change in force.
    """
    now: State = {}
    patches: list[Patch] = []
    versions: defaultdict[Key, list[tuple[int, Row | None]]] = defaultdict(list)
    top = [0]
    below: dict[int, int] = {}
    for number, event in enumerate(events, start=1):
        if event.kind == "undo":
            taken_back = event.data["event"]
            if taken_back != top[-1]:
                what = f"takes back event {taken_back}, which is not the last change in force"
                raise ProblemsFound.single(file, number, what, "restore the file from a copy")
            patch: Patch = {key: (after, before) for key, (before, after) in patches[taken_back - 1].items()}
            top.append(below[taken_back])
        elif event.kind in CHANGES_ROWS:
            patch = _patch(event, now, earlier or {})
            below[number] = top[-1]
            top.append(number)
        else:
            patch = {}
            top.append(top[-1])
        patches.append(patch)
        for key, (_, row) in patch.items():
            versions[key].append((number, row))
            if row is None:
                now.pop(key, None)
            else:
                now[key] = row
    return States(_folded(patches, top[-1], below), tuple(patches), dict(versions), tuple(top), below)


def _patch(event: Event, now: State, earlier: Row) -> Patch:
    data = event.data
    if event.kind == "remove":
        gone = [key for key in now if key[0] == data["melt"] and data.get("mould") in (None, key[1])]
        return {key: (now[key], None) for key in gone}
    rows: State = {row_key(row): {**earlier, **row} for row in data["rows"]}
    return {key: (now.get(key), row) for key, row in rows.items()}


def last_undoable(events: Sequence[Event]) -> Event | None:
    """The latest change of rows that is still in force."""
    undone = {event.data["event"] for event in events if event.kind == "undo"}
    for event in reversed(events):
        if event.kind in CHANGES_ROWS and event.number not in undone:
            return event
    return None

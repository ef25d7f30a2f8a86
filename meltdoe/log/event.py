"""One event of the journal: its kinds, and what each kind must hold.

A journal may come from anywhere and be sound by its checks and still say nonsense, so every event is looked at before
it is believed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias, get_args

__all__ = ["CHANGES_ROWS", "KINDS", "Event", "Kind", "event_fault"]

Kind: TypeAlias = Literal["plan", "record", "correct", "remove", "import", "spreadsheet edit", "undo", "mended"]

KINDS: tuple[Kind, ...] = get_args(Kind)
CHANGES_ROWS: tuple[Kind, ...] = ("record", "correct", "remove", "import", "spreadsheet edit")
_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}[-0-9:.+Z]{0,24}\Z")
_HIGHEST = 999_999


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


def event_fault(content: Mapping[str, Any], number: int) -> str | None:
    """What makes a line of the journal no event with this number; None where it is sound."""
    if not _is_number(content.get("number")) or content["number"] != number:
        return f"is not event {number}"
    if not isinstance(content.get("time"), str) or not _TIME.match(content["time"]):
        return "has no time"
    kind, data = content.get("kind"), content.get("data")
    if kind not in KINDS:
        return "is of no known kind"
    if not isinstance(data, dict):
        return "holds no data"
    for name, (fits, needed) in _SHAPES[kind].items():
        if not (fits(data[name]) if name in data else not needed):
            return f'has no sound "{name}"'
    return None


def _is_text(value: Any) -> bool:
    return isinstance(value, str)


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_number(value: Any) -> bool:
    return _is_whole(value) and 1 <= value <= _HIGHEST


def _is_number_or_none(value: Any) -> bool:
    return value is None or _is_number(value)


def _is_cell(value: Any) -> bool:
    return isinstance(value, str) or (
        isinstance(value, (int, float)) and not isinstance(value, bool) and -1e300 < value < 1e300
    )


def _are_rows(value: Any) -> bool:
    return isinstance(value, list) and all(
        isinstance(row, dict)
        and _is_number(row.get("melt"))
        and _is_number(row.get("mould", 1))
        and all(_is_cell(cell) for cell in row.values())
        for row in value
    )


def _are_names(value: Any) -> bool:
    return isinstance(value, dict) and all(isinstance(name, str) for name in value.values())


def _are_texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(text, str) for text in value)


_Shape: TypeAlias = Mapping[str, tuple[Callable[[Any], bool], bool]]  # what fits a name, and whether it must be there
_ROWS: _Shape = {
    "rows": (_are_rows, True),
    "reason": (_is_text, False),
    "source": (_is_text, False),
    "digest": (_is_text, False),
    "columns": (_are_names, False),
    "changes": (_are_texts, False),
}
_SHAPES: Mapping[Kind, _Shape] = {
    "plan": {
        "melts": (_are_rows, True),
        "design": (_is_text, True),
        "reason": (_is_text, True),
        "seed": (_is_whole, True),
    },
    "record": _ROWS,
    "correct": _ROWS,
    "import": {**_ROWS, "source": (_is_text, True)},
    "spreadsheet edit": _ROWS,
    "remove": {"melt": (_is_number, True), "mould": (_is_number_or_none, False), "reason": (_is_text, False)},
    "undo": {"event": (_is_number, True), "reason": (_is_text, False)},
    "mended": {"torn": (_is_text, True)},
}

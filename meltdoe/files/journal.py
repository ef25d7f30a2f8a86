"""journal.jsonl: everything that was ever recorded, one line an event, only added to.

A line is a JSON object whose last key, "check", is the SHA-256 of the check before it (64 zeros at the start) followed
by its own text up to that key. A line that was changed, taken out or put in breaks the chain there, and is named. A
last line that a pulled plug cut short was never acknowledged; reading leaves it aside, and the next writing keeps its
remains as an event of their own.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from meltdoe.errors import ProblemsFound
from meltdoe.files.safe_write import append_bytes, write_file
from meltdoe.log.history import KINDS, Event, Kind

__all__ = ["FORMAT", "JOURNAL_NAME", "Journal", "append_event", "mend_journal", "read_journal"]

JOURNAL_NAME = "journal.jsonl"

# History of the format
# 1  format, number, time, kind, data, check; rows hold the cells of log.csv, blank cells left out
FORMAT = 1

_BEGINNING = "0" * 64
_LINE = re.compile(rb'(\{.*),"check":"([0-9a-f]{64})"\}\r?\Z', re.DOTALL)
_LARGEST = 100_000_000


@dataclass(frozen=True, slots=True)
class Journal:
    """The events of a journal.

    Parameters
    ----------
    check : the check of the last line, which the next line builds on.
    torn : what is left of a last line that was cut off while being written.
    unfinished : whether the last line is whole but for its line end.
    """

    events: tuple[Event, ...] = ()
    check: str = _BEGINNING
    torn: bytes = b""
    unfinished: bool = False


def _checked(text: bytes, before: str) -> str:
    return hashlib.sha256(before.encode() + text).hexdigest()


def _line(event: Event, before: str) -> tuple[bytes, str]:
    """The line of an event, with its line end, and its check."""
    content = {
        "format": FORMAT,
        "number": event.number,
        "time": event.time,
        "kind": event.kind,
        "data": _plain(event.data),
    }
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"), allow_nan=False)[:-1].encode()
    check = _checked(text, before)
    return text + f',"check":"{check}"}}\n'.encode(), check


def _plain(value: Any) -> Any:
    """Whole numbers without a point, as log.csv has them."""
    if isinstance(value, float) and value == int(value) and abs(value) < 1e15:
        return int(value)
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return value


def read_journal(path: Path) -> Journal:
    """Read and verify a journal; one that does not exist is empty.

    Raises
    ------
    ProblemsFound
        Where it cannot be read, the chain is broken, or a newer program wrote it.
    """
    try:
        if path.stat().st_size > _LARGEST:
            raise ProblemsFound.single(path.name, None, "is larger than 100 MB", "restore it from a copy")
        content = path.read_bytes()
    except FileNotFoundError:
        return Journal()
    except OSError as error:
        raise ProblemsFound.single(
            path.name, None, f"cannot be read ({error.strerror or error})", "make the file readable"
        ) from error
    *lines, rest = content.split(b"\n")
    if lines and not rest and b"\0" in lines[-1]:  # some disks leave zeros where the last block never arrived
        rest = lines.pop() + b"\n"
    events: list[Event] = []
    check = _BEGINNING
    for number, line in enumerate(lines, start=1):
        event, check = _verified(path.name, line, number, check)
        events.append(event)
    if not rest.strip():
        return Journal(tuple(events), check)
    try:
        event, check = _verified(path.name, rest, len(lines) + 1, check)
    except ProblemsFound:
        return Journal(tuple(events), check, torn=rest)
    return Journal((*events, event), check, unfinished=True)


def _verified(file: str, line: bytes, number: int, before: str) -> tuple[Event, str]:
    match = _LINE.match(line)
    if match is None or _checked(match.group(1), before) != match.group(2).decode():
        raise ProblemsFound.single(
            file,
            number,
            "was changed after it was written, or a line before it is missing: its check does not fit",
            "restore the file from a copy; or set it aside under another name, and a new one begins from log.csv",
        )
    content: dict[str, Any] = json.loads(match.group(1) + b"}")
    if content.get("format") != FORMAT or content.get("kind") not in KINDS:
        raise ProblemsFound.single(file, number, "was written by a newer meltdoe", "install the newer version")
    event = Event(content["number"], content["time"], content["kind"], content["data"])
    return event, match.group(2).decode()


def append_event(path: Path, journal: Journal, kind: Kind, data: Mapping[str, Any]) -> Journal:
    """Add one event; it is on the disk when this returns. Call it only while holding the lock.

    Raises
    ------
    ProblemsFound
        Where it cannot be written; the journal is then as it was.
    """
    journal = mend_journal(path, journal)
    event = Event(len(journal.events) + 1, _now(), kind, data)
    line, check = _line(event, journal.check)
    append_bytes(path, line)
    return Journal((*journal.events, event), check)


def mend_journal(path: Path, journal: Journal) -> Journal:
    """Finish or replace a last line that was cut off; what was left of it is kept as an event of its own."""
    if journal.unfinished:
        append_bytes(path, b"\n")
        return Journal(journal.events, journal.check)
    if not journal.torn:
        return journal
    event = Event(len(journal.events) + 1, _now(), "mended", {"torn": journal.torn.decode("utf-8", "replace")})
    line, check = _line(event, journal.check)
    whole = path.read_bytes()
    write_file(path, whole[: len(whole) - len(journal.torn)] + line)
    return Journal((*journal.events, event), check)


def _now() -> str:
    return datetime.datetime.now().astimezone().isoformat(timespec="seconds")

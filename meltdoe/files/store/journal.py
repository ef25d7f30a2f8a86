"""journal.jsonl: everything that was ever recorded, one line an event, only added to.

A line is a JSON object whose last key, "check", is the SHA-256 of the check before it (64 zeros at the start) followed
by its own text up to that key. A line that was changed, taken out or put in breaks the chain there, and is named. A
last line that a pulled plug cut short was never acknowledged; reading leaves it aside, and the next writing keeps its
remains as an event of their own.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.own_folder import read_ordinary, refuse_link_outside
from meltdoe.files.disk.safe_write import append_bytes, write_file
from meltdoe.files.disk.upgrade import FileFormat, newer_format, replace_with_copy, upgraded
from meltdoe.log.event import Event, Kind, event_fault

__all__ = ["JOURNAL", "JOURNAL_NAME", "Journal", "append_event", "mend_journal", "read_journal", "safe_all_the_same"]

JOURNAL_NAME = "journal.jsonl"
_BEGINNING = "0" * 64
_FORMAT = re.compile(rb'\{"format": ?([0-9]{1,6}),')
_LINE = re.compile(rb'(\{.*),"check":"([0-9a-f]{64})"\}\r?\Z', re.DOTALL)
_LARGEST = 20_000_000
_MOST_EVENTS = 10_000
_SLACK = 1.5  # reading takes a little more than writing makes, so that mending cannot overfill a journal
_MOST_TORN = 1_000_000
_RESTORE = "restore the file from a copy; or set it aside under another name, and a new one begins from log.csv"


@dataclass(frozen=True, slots=True)
class Journal:
    """The events of a journal.

    Parameters
    ----------
    check : the check of the last line, which the next line builds on.
    size : length of the file in bytes.
    torn : what is left of a last line that was cut off while being written.
    unfinished : whether the last line is whole but for its line end.
    older : the file as it stands where it is of an older format, and what it becomes.
    """

    events: tuple[Event, ...] = ()
    check: str = _BEGINNING
    size: int = 0
    torn: bytes = b""
    unfinished: bool = False
    older: tuple[bytes, bytes] | None = None

    def faults(self) -> tuple[str, ...]:
        """What the next writing mends by itself, for people."""
        found = []
        if self.torn:
            found.append("its last line was cut off while being written, and is set aside in it")
        if self.unfinished:
            found.append("its last line lacked its line end")
        if self.older is not None:
            found.append("it was of an older format, which is kept in a copy")
        return tuple(found)


def _checked(text: bytes, before: str) -> str:
    return hashlib.sha256(before.encode() + text).hexdigest()


def _sealed(text: bytes, before: str) -> tuple[bytes, str]:
    """A line of the journal, with its line end, and its check; `text` is its JSON without the last brace."""
    check = _checked(text, before)
    return text + f',"check":"{check}"}}\n'.encode(), check


def _line(event: Event, before: str) -> tuple[bytes, str]:
    content = {
        "format": JOURNAL.newest,
        "number": event.number,
        "time": event.time,
        "kind": event.kind,
        "data": _plain(event.data),
    }
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"), allow_nan=False)[:-1].encode()
    return _sealed(text, before)


def _plain(value: Any) -> Any:
    """Whole numbers without a point, as log.csv has them."""
    if isinstance(value, float) and value == int(value) and abs(value) < 1e15:
        return int(value)
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return value


def _with_checks(content: bytes) -> bytes:
    """Format 0 to 1: lines without "check" get their chain; a last line that was cut off stays as it is."""
    *lines, rest = content.split(b"\n")
    sealed, check = [], _BEGINNING
    for number, line in enumerate(lines, start=1):
        new, check = _sealed(_without_check(line, number), check)
        sealed.append(new)
    if rest.strip():
        with contextlib.suppress(ProblemsFound):
            rest, _ = _sealed(_without_check(rest, len(lines) + 1), check)
    return b"".join(sealed) + rest


def _without_check(line: bytes, number: int) -> bytes:
    text, count = re.subn(rb'\A\{"format": ?0,', b'{"format":1,', line.rstrip(b"\r"))
    if not count or b'"check":"' in text:
        raise ProblemsFound.single(JOURNAL_NAME, number, "is not of the format of the first line", _RESTORE)
    _parsed(text, number)
    return text[:-1]


# History of the format
# 0  never given out: the keys of 1 without "check"; it stands for a journal whose lines were not chained
# 1  format, number, time, kind, data, check; rows hold the cells of log.csv, blank cells left out
JOURNAL = FileFormat(JOURNAL_NAME, 1, {0: _with_checks})


def read_journal(path: Path) -> Journal:
    """Read and verify a journal; one that does not exist is empty. Nothing is written.

    Raises
    ------
    ProblemsFound
        Where it cannot be read, the chain is broken, a line says nonsense, or a newer program wrote it.
    """
    refuse_link_outside(path)
    content = read_ordinary(path, int(_SLACK * _LARGEST)) or b""
    found = _FORMAT.match(content)
    if found is None or int(found[1]) >= JOURNAL.newest:
        return _read(content)
    new = upgraded(JOURNAL, content, int(found[1]))
    journal = _read(new)
    return Journal(journal.events, journal.check, journal.size, journal.torn, journal.unfinished, (content, new))


def _read(content: bytes) -> Journal:
    *lines, rest = content.split(b"\n")
    if lines and not rest and b"\0" in lines[-1]:  # some disks leave zeros where the last block never arrived
        rest = lines.pop() + b"\n"
    if len(lines) > _SLACK * _MOST_EVENTS:
        raise ProblemsFound.single(JOURNAL_NAME, None, f"holds more than {_MOST_EVENTS} events", _RESTORE)
    events: list[Event] = []
    check = _BEGINNING
    for number, line in enumerate(lines, start=1):
        event, check = _verified(line, number, check)
        events.append(event)
    size = len(content)
    if not rest.strip():
        return Journal(tuple(events), check, size)
    _refuse_newer(rest, len(lines) + 1)
    if not _is_sealed(rest, check):
        return Journal(tuple(events), check, size, torn=rest)
    event, check = _verified(rest, len(lines) + 1, check)
    return Journal((*events, event), check, size, unfinished=True)


def _is_sealed(line: bytes, before: str) -> bool:
    match = _LINE.match(line)
    return match is not None and _checked(match[1], before) == match[2].decode()


def _refuse_newer(line: bytes, number: int) -> None:
    found = _FORMAT.match(line)
    if found is not None and int(found[1]) > JOURNAL.newest:
        raise newer_format(JOURNAL, number, int(found[1]))


def _verified(line: bytes, number: int, before: str) -> tuple[Event, str]:
    _refuse_newer(line, number)
    match = _LINE.match(line)
    if match is None or not _is_sealed(line, before):
        what = "was changed after it was written, or a line before it is missing: its check does not fit"
        raise ProblemsFound.single(JOURNAL_NAME, number, what, _RESTORE)
    return _parsed(match[1] + b"}", number), match[2].decode()


def _parsed(text: bytes, number: int) -> Event:
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):  # also letters that are not UTF-8, and numbers of thousands of digits
        content = None
    if not isinstance(content, dict) or content.get("format") != JOURNAL.newest:
        fault: str | None = "is no event"
    else:
        fault = event_fault(content, number)
    if fault is not None:
        raise ProblemsFound.single(JOURNAL_NAME, number, f"cannot be understood: it {fault}", _RESTORE)
    return Event(content["number"], content["time"], content["kind"], content["data"])


def append_event(path: Path, journal: Journal, kind: Kind, data: Mapping[str, Any]) -> Journal:
    """Add one event; it is on the disk when this returns. Call it only while holding the lock.

    Raises
    ------
    ProblemsFound
        Where it cannot be written, or the journal is full; the journal is then as it was.
    """
    journal = mend_journal(path, journal)
    event = Event(len(journal.events) + 1, _now(), kind, data)
    line, check = _line(event, journal.check)
    if event.number > _MOST_EVENTS or journal.size + len(line) > _LARGEST:
        what = f"is full: it may hold {_MOST_EVENTS} events and {_LARGEST // 1_000_000} MB"
        raise ProblemsFound.single(JOURNAL_NAME, None, what, "go on in a new series folder; nothing was changed")
    append_bytes(path, line)
    return Journal((*journal.events, event), check, journal.size + len(line))


def safe_all_the_same(what: str, found: ProblemsFound) -> ProblemsFound:
    """The problem of a table that could not be written after its event was: nothing is lost by that."""
    first = found.problems[0]
    mend = first.mend
    if isinstance(found.__cause__, OSError):
        mend = "close the file in other programs and make room on the disk; the next record writes it again"
    return ProblemsFound.single(first.file, None, f"{what} is safe in {JOURNAL_NAME}, but the file {first.what}", mend)


def mend_journal(path: Path, journal: Journal) -> Journal:
    """Bring the file into order: an older format upgraded, a last line that was cut off finished or kept as an event.

    Call it only while holding the lock.
    """
    if journal.older is not None:
        replace_with_copy(path, JOURNAL, *journal.older)
    if journal.unfinished:
        append_bytes(path, b"\n")
        return Journal(journal.events, journal.check, journal.size + 1)
    if not journal.torn:
        return Journal(journal.events, journal.check, journal.size)
    event = Event(
        len(journal.events) + 1, _now(), "mended", {"torn": journal.torn[:_MOST_TORN].decode("utf-8", "replace")}
    )
    line, check = _line(event, journal.check)
    whole = path.read_bytes()
    write_file(path, whole[: len(whole) - len(journal.torn)] + line)
    return Journal((*journal.events, event), check, journal.size - len(journal.torn) + len(line))


def _now() -> str:
    return datetime.datetime.now().astimezone().isoformat(timespec="seconds")

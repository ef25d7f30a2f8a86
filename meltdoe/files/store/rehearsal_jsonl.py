"""rehearsal.jsonl: simulated series that are finished, one a line, so that a rehearsal that was stopped goes on.

Nothing but time is lost with this file: a line that cannot be read is passed over, and that series is played again.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.own_folder import read_ordinary
from meltdoe.files.disk.safe_write import append_bytes, write_file
from meltdoe.rehearsal.played import PlayedSeries

__all__ = ["REHEARSAL_NAME", "FinishedSeries"]

REHEARSAL_NAME = "rehearsal.jsonl"
_LARGEST = 20_000_000  # bytes
_FORMAT = 1  # 1: first form of the lines
_KINDS = {field.name: field.type for field in fields(PlayedSeries)}


class FinishedSeries:
    """The file of one series folder. Lines of a rehearsal whose series, log or plan has changed are dropped.

    Parameters
    ----------
    folder : of the series.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / REHEARSAL_NAME

    def found(self, key: str, policy: str) -> Mapping[int, PlayedSeries]:
        """Series of the rehearsal `key` played with a policy, by number."""
        try:
            text = (read_ordinary(self._path, _LARGEST) or b"").decode("utf-8", errors="replace")
        except ProblemsFound:
            return {}
        lines = text.splitlines()
        read = [_read(line) for line in lines]
        current = [line for line, one in zip(lines, read, strict=True) if one is not None and one["rehearsal"] == key]
        if len(current) < len(lines) or (text and not text.endswith("\n")):
            write_file(self._path, "".join(f"{line}\n" for line in current))
        return {
            one["number"]: PlayedSeries(**one["ended"])
            for one in read
            if one is not None and one["rehearsal"] == key and one["policy"] == policy
        }

    def keep(self, key: str, policy: str, number: int, played: PlayedSeries) -> None:
        """Put one down; it is on the disk on return."""
        line = {"format": _FORMAT, "rehearsal": key, "policy": policy, "number": number, "ended": asdict(played)}
        append_bytes(self._path, (json.dumps(line) + "\n").encode())


def _read(line: str) -> dict[str, Any] | None:
    """One line, or None where it is not one of ours."""
    try:
        read = json.loads(line)
    except (ValueError, RecursionError):
        return None
    if not isinstance(read, dict) or read.get("format") != _FORMAT or not isinstance(read.get("number"), int):
        return None
    ended = read.get("ended")
    if not isinstance(ended, dict) or ended.keys() != _KINDS.keys():
        return None
    if not all(isinstance(read.get(name), str) for name in ("rehearsal", "policy")):
        return None
    return read if all(_sort_fits(_KINDS[name], value) for name, value in ended.items()) else None


def _sort_fits(kind: object, value: object) -> bool:
    if kind == "bool":
        return isinstance(value, bool)
    if value is None:
        return "None" in str(kind)
    return isinstance(value, (int, float)) and not isinstance(value, bool)

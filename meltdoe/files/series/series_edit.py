"""Changing single values of the user's series.toml with every remark kept."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeAlias

import tomlkit
from tomlkit.exceptions import TOMLKitError

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.safe_write import write_file
from meltdoe.files.quoting import quoted
from meltdoe.files.series.series_keys import SERIES_FILE
from meltdoe.files.series.series_toml import check_series_text, read_series_text, series_path
from meltdoe.files.series.toml_lines import KeyPath, parse_toml
from meltdoe.series.melt_series import MeltSeries

__all__ = ["TomlValue", "edited", "set_value"]

TomlValue: TypeAlias = str | int | float | bool | Sequence["TomlValue"] | Mapping[str, "TomlValue"]


def set_value(folder: Path | str, path: KeyPath, value: TomlValue | None) -> MeltSeries:
    """Set one key of a folder's series.toml, or take it out where `value` is None.

    Parameters
    ----------
    path : for example ``("budget", "melts")`` or ``("factor", 0, "low")``; a position one past the last adds a block.

    Returns
    -------
    The series as it is now.

    Raises
    ------
    ProblemsFound
        Where the file is faulty, before or after the change; it stands on disk as it was then.
    """
    text = read_series_text(folder)
    file = series_path(folder)
    _, problems = check_series_text(text)
    if problems:
        raise ProblemsFound(problems)
    changed = edited(text, path, value)
    series, problems = check_series_text(changed, file.parent)
    if series is None:
        raise ProblemsFound(problems)
    write_file(file, changed)
    return series


def edited(text: str, path: KeyPath, value: TomlValue | None) -> str:
    """The text with one key set, or taken out where `value` is None; all else stays as it was.

    Raises
    ------
    ProblemsFound
        Where the text is not TOML, or the path leads nowhere.
    """
    plain = text.replace("\r\n", "\n")
    try:
        wanted = tomllib.loads(plain)
        _place(wanted, path, value)
        for way in (_with_addition, _with_change):
            changed = way(plain, path, value)
            if _reads_as(changed, wanted):
                return changed.replace("\n", "\r\n") if "\r\n" in text else changed
        reason = "the rest of the file would change"
    except (KeyError, IndexError, TypeError, ValueError, TOMLKitError) as error:
        reason = " ".join(str(error).split())
    where = ".".join(map(str, path))
    raise ProblemsFound.single(
        SERIES_FILE, None, f"{quoted(where)} cannot be set by the program ({reason})", "change the file by hand"
    )


def _reads_as(text: str, wanted: Mapping[str, object]) -> bool:
    try:
        return tomllib.loads(text) == wanted
    except tomllib.TOMLDecodeError:
        return False


def _with_addition(plain: str, path: KeyPath, value: TomlValue | None) -> str:
    """A new key as a line below the last key of its block, a new block at the end; else the text as it was."""
    document = parse_toml(plain, SERIES_FILE)
    *block, last = path
    if value is None or path in document.lines:
        return plain
    rows = plain.split("\n")
    if isinstance(last, int) and isinstance(value, Mapping):
        return _with_block(plain, f"[[{_dotted(block)}]]", value)
    if tuple(block) in document.ends:
        rows.insert(document.ends[tuple(block)], _line(last, value))
        return "\n".join(rows)
    return _with_block(plain, f"[{_dotted(block)}]", {str(last): value})


def _with_block(plain: str, heading: str, values: Mapping[str, TomlValue]) -> str:
    body = "\n".join(_line(key, value) for key, value in values.items())
    return f"{plain.rstrip()}\n\n{heading}\n{body}\n"


def _line(key: str | int, value: TomlValue) -> str:
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        table.update(value)
        return f"{_dotted([key])} = {table.as_string()}"
    return f"{_dotted([key])} = {tomlkit.item(value).as_string()}"


def _dotted(keys: Sequence[str | int]) -> str:
    return ".".join(tomlkit.key(str(key)).as_string() for key in keys)


def _with_change(plain: str, path: KeyPath, value: TomlValue | None) -> str:
    """The text with an existing key changed in place."""
    document = tomlkit.parse(plain)
    _place(document, path, value)
    return tomlkit.dumps(document)


def _place(document: Any, path: KeyPath, value: TomlValue | None) -> None:
    """Set a value in a tomlkit document or a plain dict alike; both behave as dicts and lists."""
    at = document
    for key, following in pairwise(path):
        if isinstance(key, str) and key not in at:
            at[key] = [] if isinstance(following, int) else {}
        at = at[key]
    last = path[-1]
    if value is None:
        del at[last]
    elif isinstance(last, int) and last == len(at):
        at.append(value)
    else:
        at[last] = value

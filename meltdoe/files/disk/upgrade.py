"""Files of an older or a newer format.

Every format has a number, and a table of steps that leads from each older number to the next one. Reading takes the
steps in memory and writes nothing. The first command that writes keeps the old file beside the new one, as
NAME.before-format-N, before the new one takes its place. A file of a newer format is refused and left as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.own_folder import read_ordinary
from meltdoe.files.disk.safe_write import write_file
from meltdoe.files.quoting import quoted

__all__ = ["FileFormat", "Step", "newer_format", "replace_with_copy", "upgraded"]

Step: TypeAlias = Callable[[bytes], bytes]
_LARGEST_COPY = 100_000_000


@dataclass(frozen=True, slots=True)
class FileFormat:
    """A file's formats.

    Parameters
    ----------
    file : its name.
    newest : the number of the format that this program writes.
    steps : for each older format that can still be read, what turns it into the next one.
    """

    file: str
    newest: int
    steps: Mapping[int, Step]


def newer_format(form: FileFormat, line: int | None, number: int) -> ProblemsFound:
    """The problem of a file that a newer program wrote."""
    return ProblemsFound.single(
        form.file,
        line,
        f"has format {quoted(number)[1:-1]}, and this program knows formats up to {form.newest}",
        "use a newer program; the file was left as it is",
    )


def upgraded(form: FileFormat, content: bytes, number: int) -> bytes:
    """The content of a file of format `number` in the newest format; nothing is written.

    Raises
    ------
    ProblemsFound
        Where the format is newer, or so old that no step leads on from it, or a step finds the file damaged.
    """
    if number > form.newest:
        raise newer_format(form, None, number)
    for older in range(number, form.newest):
        if older not in form.steps:
            what = f"has format {number}, which this program can no longer read"
            raise ProblemsFound.single(form.file, None, what, "restore it from a copy; the file was left as it is")
        content = form.steps[older](content)
    return content


def replace_with_copy(path: Path, form: FileFormat, old: bytes, new: bytes) -> Path:
    """Write the upgraded file, the old one kept beside it; returns the copy. Call it only while holding the lock.

    Raises
    ------
    ProblemsFound
        Where either cannot be written; the old file stands under its own name then.
    """
    copy = _copy_name(path, form.newest, old)
    if not copy.exists():
        write_file(copy, old)
    write_file(path, new)
    return copy


def _copy_name(path: Path, newest: int, old: bytes) -> Path:
    """NAME.before-format-N, with a number behind it where that name is taken by another copy."""
    base = f"{path.name}.before-format-{newest}"
    names = (path.with_name(name) for name in (base, *(f"{base}-{i}" for i in range(2, 1000))))
    return next(name for name in names if not name.is_symlink() and _is_free(name, old))


def _is_free(name: Path, old: bytes) -> bool:
    return not name.exists() or read_ordinary(name, _LARGEST_COPY) == old

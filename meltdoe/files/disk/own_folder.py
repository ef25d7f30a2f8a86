"""A series folder may come from a stranger: nothing outside it is touched, and only ordinary files are read.

A link is followed where it stays within the folder. One that leads out of it is refused before anything is read or
written, as is a pipe or a device under the name of a file.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from meltdoe.errors import Problem, ProblemsFound

__all__ = ["links_outside", "read_ordinary", "refuse_link_outside"]

_OWN = (
    "series.toml", "plan.csv", "log.csv", "journal.jsonl", ".lock", "figures", "report.html", "sheets.html",
)  # fmt: skip


def links_outside(folder: Path) -> tuple[Problem, ...]:
    """A problem for each of the folder's own names that is a link to somewhere outside; nothing is opened."""
    return tuple(problem for name in _OWN if (problem := _link_problem(folder / name)) is not None)


def _link_problem(path: Path) -> Problem | None:
    if not path.is_symlink():
        return None
    home = Path(os.path.realpath(path.parent))
    if Path(os.path.realpath(path)).is_relative_to(home):
        return None
    what = f'is a link to "{os.readlink(path)}", outside the folder'  # noqa: PTH115 (also a link to itself)
    return Problem(path.name, None, what, "put the file itself in its place; nothing was read or written")


def refuse_link_outside(path: Path) -> None:
    """Raise ProblemsFound where `path` is a link that leads out of its own folder."""
    problem = _link_problem(path)
    if problem is not None:
        raise ProblemsFound([problem])


def read_ordinary(path: Path, most: int) -> bytes | None:
    """The content of an ordinary file of at most `most` bytes; None where there is no file of that name.

    Raises
    ------
    ProblemsFound
        Where it cannot be read, is too large, or is a folder, a pipe or a device.
    """
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            mend = "name the file itself, or rename the folder where a file of this name belongs"
            raise ProblemsFound.single(path.name, None, "is a folder, and a file is wanted", mend)
        if not stat.S_ISREG(found.st_mode):
            what = "cannot be read (it is no ordinary file)"
            raise ProblemsFound.single(path.name, None, what, "put a plain file in its place")
        with path.open("rb") as handle:
            content = handle.read(most + 1)
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        reason = getattr(error, "strerror", None) or error
        raise ProblemsFound.single(path.name, None, f"cannot be read ({reason})", "make it a readable file") from error
    if len(content) > most:
        raise ProblemsFound.single(
            path.name, None, f"is larger than {most // 1_000_000} MB", "keep only what is needed, or restore a copy"
        )
    return content

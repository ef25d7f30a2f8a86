"""One writer at a time in a series folder."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.own_folder import links_outside

__all__ = ["LOCK_NAME", "locked"]

LOCK_NAME = ".lock"
_SECONDS = 30.0


@contextmanager
def locked(folder: Path, seconds: float = _SECONDS) -> Iterator[None]:
    """Hold the folder's lock; it is given back on leaving, and by the system where the process is killed.

    Parameters
    ----------
    seconds : how long to wait for another process.

    Raises
    ------
    ProblemsFound
        Where another process keeps the lock, the folder cannot be locked, or a name in it is a link out of it.
    """
    problems = links_outside(folder)
    if problems:
        raise ProblemsFound(problems)
    lock = FileLock(folder / LOCK_NAME, timeout=seconds, poll_interval=0.01)
    try:
        lock.acquire()
    except Timeout as error:
        raise ProblemsFound.single(
            LOCK_NAME,
            None,
            "another process holds it: a meltdoe command is still writing in this folder",
            "wait until that has ended and run the command again; nothing was changed",
        ) from error
    except (OSError, NotImplementedError) as error:
        raise ProblemsFound.single(
            LOCK_NAME,
            None,
            f'the folder "{folder}" cannot be locked for writing ({getattr(error, "strerror", None) or error})',
            "make the folder writable, or move it to a disk of this computer",
        ) from error
    try:
        yield
    finally:
        lock.release()

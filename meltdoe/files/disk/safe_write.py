"""The one place that writes to disk: whole files replaced at one stroke, and lines appended for good.

A reader never sees half a file, and a failure or a pulled plug leaves either the old content or the new.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
from pathlib import Path

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.own_folder import refuse_link_outside

__all__ = ["append_bytes", "make_folder", "remove_leftovers", "write_file"]

_SUFFIX = ".part"
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_BINARY = getattr(os, "O_BINARY", 0)  # Windows would turn line ends otherwise


def write_file(path: Path, content: str | bytes) -> None:
    """Replace a file by `content` (text is written as UTF-8), or leave it exactly as it was.

    The content goes to a temporary file in the same folder, is flushed to disk and then takes the name in one step.
    A link within the folder is followed, so that the file it points to is replaced and not the link.

    Raises
    ------
    ProblemsFound
        Where the folder is missing or read-only, the disk is full, or the name is a link out of its folder; nothing
        on disk has changed then. Where only the folder could not be flushed, the problem says that it was written.
    """
    refuse_link_outside(path)
    target = Path(os.path.realpath(path))
    data = content.encode("utf-8") if isinstance(content, str) else content
    temporary = target.with_name(f".{target.name}.{secrets.token_hex(6)}{_SUFFIX}")
    try:
        try:
            handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o666)
            try:
                _write_all(handle, data)
                os.fsync(handle)
            finally:
                os.close(handle)
            if target.exists():
                temporary.chmod(target.stat().st_mode & 0o777)
            temporary.replace(target)
        except BaseException:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise _cannot_write(path, error) from error
    try:
        _sync_folder(target.parent)
    except OSError as error:
        what = f"was written, but the disk does not confirm it ({error.strerror or error})"
        raise ProblemsFound.single(path.name, None, what, "see that the disk is in order") from error


def make_folder(path: Path) -> None:
    """Make a folder with all above it, where it is not there yet.

    Raises
    ------
    ProblemsFound
        Where that cannot be done.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _cannot_write(path, error) from error


def append_bytes(path: Path, data: bytes) -> None:
    """Add bytes to the end of a file (made where missing) and return only when they are on the disk.

    Raises
    ------
    ProblemsFound
        Where that cannot be done; the file has its old length then.
    """
    refuse_link_outside(path)
    try:
        new = not path.exists()
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | _BINARY, 0o666)
        try:
            length = os.lseek(handle, 0, os.SEEK_END)
            try:
                _write_all(handle, data)
                os.fsync(handle)
                if new:
                    _sync_folder(path.parent)
            except OSError:
                with contextlib.suppress(OSError):
                    os.ftruncate(handle, length)
                raise
        finally:
            os.close(handle)
    except OSError as error:
        raise _cannot_write(path, error) from error


def _write_all(handle: int, data: bytes) -> None:
    left = memoryview(data)
    while left:
        left = left[os.write(handle, left) :]


def remove_leftovers(path: Path) -> None:
    """Clear away temporary files of `path` that a killed process left; call it only while holding the lock.

    The name may hold a star, for files that are written under names with a time.
    """
    target = Path(os.path.realpath(path))
    for leftover in target.parent.glob(f".{target.name}.*{_SUFFIX}"):
        with contextlib.suppress(OSError):
            leftover.unlink()


def _sync_folder(folder: Path) -> None:
    """Make a new name durable; Windows has no such call and keeps names by itself."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # some network disks cannot flush a folder
            raise
    finally:
        os.close(handle)


def _cannot_write(path: Path, error: OSError) -> ProblemsFound:
    if error.errno in _FULL:
        mend = "make room on the disk and run the command again; nothing was changed"
    elif isinstance(error, FileNotFoundError):
        mend = f'make the folder "{path.parent}" first'
    elif isinstance(error, PermissionError) or error.errno == errno.EROFS:
        mend = "close the file in other programs, or make the file and its folder writable; nothing was changed"
    else:
        mend = "see that the disk is in order and run the command again; nothing was changed"
    return ProblemsFound.single(path.name, None, f"cannot be written ({error.strerror or error})", mend)

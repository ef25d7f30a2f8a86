"""Keeping what stood in a file before it is written anew."""

from __future__ import annotations

import datetime
import os
from pathlib import Path

from meltdoe.files.disk.safe_write import write_file

__all__ = ["keep_aside"]


def keep_aside(path: Path, content: bytes) -> Path:
    """Keep the content of a file beside it, under a name with the time; returns the copy.

    Raises
    ------
    ProblemsFound
        Where it cannot be written; the file itself is not touched.
    """
    stamp = datetime.datetime.now().strftime("%Y%m%d-%H%M%S")
    tails = ("", *(f"-{i}" for i in range(2, 1000)))
    names = (path.with_name(f"{path.stem}-set-aside-{stamp}{tail}{path.suffix}") for tail in tails)
    name = next(name for name in names if not os.path.lexists(name))
    write_file(name, content)
    return name

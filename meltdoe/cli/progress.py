"""How far the work is: one line on standard error that is written anew, on a terminal only."""

from __future__ import annotations

import sys
import time
from types import TracebackType

from meltdoe.cli.console import inert

__all__ = ["Progress"]

_SECONDS = 0.1  # between two looks of the line


class Progress:
    """A line such as "plan: 12 of 60 series"; nothing at all where standard error is no terminal or `quiet` is set.

    Leaving the block takes the line away.
    """

    def __init__(self, what: str, quiet: bool = False) -> None:
        self._what = what
        self._shown = 0
        self._last = 0.0
        self._quiet = quiet or not sys.stderr.isatty()

    def __enter__(self) -> Progress:
        return self

    def __call__(self, name: str, done: int, total: int) -> None:
        """Show where the work called `name` stands."""
        now = time.monotonic()
        if self._quiet or (done < total and now - self._last < _SECONDS):
            return
        self._last = now
        line = inert(f"{name}: {done} of {total} {self._what}")[:79]
        print("\r" + line.ljust(self._shown), end="", file=sys.stderr, flush=True)
        self._shown = len(line)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._shown:
            print("\r" + " " * self._shown + "\r", end="", file=sys.stderr, flush=True)

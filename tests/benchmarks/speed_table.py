"""How long each kind of work takes and how it grows: `python -m tests.benchmarks.speed_table`.

Prints a Markdown table: seconds of the processor (child processes included) at a size and at its double, medians over
runs and seeds, and their ratio. Words choose groups of rows, such as `plan fit`. What was worked out before and kept is
forgotten before every run. Where a ratio is clearly above 2, the reason stands beside it; a row without one is named
at the end, and the command fails.
"""

from __future__ import annotations

import argparse
import functools
import gc
import logging
import os
import resource
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from threadpoolctl import threadpool_limits

from .speed_rows import ROWS, Row, Work

__all__ = ["Timed", "main", "timed"]

_CLEARLY = 2.4  # of a ratio: runs differ by a tenth and more
_SMALL = 0.02  # seconds below which a ratio says nothing


@dataclass(frozen=True, slots=True)
class Timed:
    """A row with the median seconds at its size and at the double (NaN where nothing is doubled)."""

    row: Row
    once: float
    doubled: float

    @property
    def ratio(self) -> float:
        return self.doubled / self.once

    @property
    def unexplained(self) -> bool:
        """Whether it grows more than linearly, by more than runs differ, and nobody says why."""
        return self.ratio > _CLEARLY and self.doubled > _SMALL and not self.row.why

    def line(self) -> str:
        row, size = self.row, self.row.size
        told = f"| {row.group} | {row.what} | "
        if not size:
            return f"{told}- | {_seconds(self.once)} | | | {row.why} |"
        return (
            f"{told}{size}, {2 * size} | {_seconds(self.once)} | {_seconds(self.doubled)} | "
            f"{self.ratio:.1f} | {row.why} |"
        )


def _seconds(value: float) -> str:
    return f"{value:.2g}" if value < 1.0 else f"{value:.1f}"


def timed(row: Row, seeds: Sequence[int], runs: int) -> Timed:
    """Do the work of a row once to load what it needs, then so often for each seed and size."""
    row.work(row.size, seeds[0])()
    sizes = (row.size, 2 * row.size) if row.size else (0,)
    taken = [np.median([_once(row, size, seed) for seed in seeds for _ in range(runs)]) for size in sizes]
    return Timed(row, float(taken[0]), float(taken[1]) if row.size else float("nan"))


def _once(row: Row, size: int, seed: int) -> float:
    work = row.work(size, seed)
    _forget()
    clock = time.perf_counter if row.elapsed else _processor
    return _lasting(work, clock)


def _lasting(work: Work, clock: Callable[[], float]) -> float:
    start = clock()
    work()
    return clock() - start


def _processor() -> float:
    """Seconds of the processor that this process and its finished children have used."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime


def _forget() -> None:
    """Clear what functions of the program have kept of earlier calls."""
    for kept in gc.get_objects():
        if isinstance(kept, functools._lru_cache_wrapper) and kept.__module__.startswith("meltdoe."):
            kept.cache_clear()


def main(words: Sequence[str] | None = None) -> int:
    groups = tuple(dict.fromkeys(row.group for row in ROWS))
    reader = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    reader.add_argument("groups", nargs="*", metavar="GROUP", help=f"all unless named: {', '.join(groups)}")
    reader.add_argument("--seeds", type=int, default=3)
    reader.add_argument("--once", action="store_true", help="one run of each size with one seed")
    asked = reader.parse_args(words)
    if unknown := set(asked.groups) - set(groups):
        reader.error(f"no such group: {', '.join(sorted(unknown))}")
    logging.getLogger("meltdoe").setLevel(logging.ERROR)
    os.environ.update(dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1"))  # of processes that are started
    with threadpool_limits(1):
        return _table(asked.groups or groups, range(1 if asked.once else asked.seeds), once=asked.once)


def _table(groups: Sequence[str], seeds: Sequence[int], *, once: bool) -> int:
    print("| work | what, and what is doubled | sizes | s | doubled, s | ratio | why it grows more than twofold |")
    print("|---" * 7 + "|")
    left_open = []
    for row in ROWS:
        if row.group in groups:
            one = timed(row, seeds, 1 if once else row.runs)
            print(one.line(), flush=True)
            left_open += [one] if one.unexplained else []
    for one in left_open:
        print(f"\nno reason is written for {one.row.group}: {one.row.what}")
    return int(bool(left_open))


if __name__ == "__main__":
    sys.exit(main())

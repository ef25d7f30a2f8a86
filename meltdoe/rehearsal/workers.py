"""Who plays the series: this process, all cores of this computer, or a Dask cluster that is running already."""

from __future__ import annotations

import multiprocessing
import os
import re
import signal
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from importlib import import_module

from meltdoe.errors import WrongUsage

__all__ = ["cluster_workers", "core_workers", "cores"]

_FEW = 4  # series a worker; below that starting it costs more than it brings
_SECONDS = 10  # to wait for a cluster


def cores() -> int:
    """Processors that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def core_workers(series: int, most: int | None = None) -> Iterator[Executor | None]:
    """Processes for so many simulated series, or None where this one does them as fast.

    Parameters
    ----------
    series : how many are to be played.
    most : largest number of processes; all cores where None.
    """
    count = min(most or cores(), series // _FEW)
    if count < 2:
        yield None
        return
    # started afresh on every system: copying a process that has threads is not safe
    pool = ProcessPoolExecutor(count, multiprocessing.get_context("spawn"), initializer=_quiet)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _quiet() -> None:
    """Ctrl-C is for the process that gives the work: it stops giving, and a worker ends with the series it plays."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def cluster_workers(address: str) -> Iterator[Executor]:
    """The workers of a Dask cluster.

    Parameters
    ----------
    address : of its scheduler, for example "tcp://192.168.0.7:8786".

    Raises
    ------
    WrongUsage
        Where the part of the program for clusters is not installed, the address has no port, or nothing answers there.
    """
    try:
        distributed = import_module("distributed")
    except ImportError:
        raise WrongUsage(
            "a cluster needs one part more; install it with: python -m pip install 'meltdoe[cluster]'"
        ) from None
    if not re.fullmatch(r"(\w+://)?\S+:\d+", address):  # a client that fails half made complains at exit
        raise WrongUsage(f'"{address}" is no address of a cluster; write it like tcp://192.168.0.7:8786')
    try:
        client = distributed.Client(address, timeout=_SECONDS, set_as_default=False)
    except (OSError, ValueError) as error:
        reason = " ".join(str(error).split())[:120]
        raise WrongUsage(f'no cluster answers at "{address}" ({reason}); see that its scheduler runs there') from None
    with client:
        yield client.get_executor(pure=False)

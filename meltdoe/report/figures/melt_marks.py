"""The melts themselves, drawn on top of every fit: where they stood and whether everything that is judged was good."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from meltdoe.log.melt_log import Log
from meltdoe.report.figures.style import BEST, MELT_MARKS, Mark, key_line
from meltdoe.series.factor import FloatArray
from meltdoe.wording import melts_phrase

__all__ = ["counted_sentence", "key_of_marks", "left_out_words", "outcomes_of", "put_marks", "spread_out"]


_LONGEST_ROW = 0.4


def outcomes_of(log: Log) -> tuple[bool | None, ...]:
    """For each row of the log whether everything that is judged was good; None where not known."""
    return tuple(log.succeeded(entry) for entry in log.entries)


def counted_sentence(log: Log, places: Iterable[int]) -> str:
    """ "12 melts: 4 good throughout, 7 not, 1 not known.", and which of them a figure of some factors cannot place.

    Parameters
    ----------
    places : positions of the factors.
    """
    succeeded = outcomes_of(log)
    n = len(succeeded)
    known = f"{n} melt{'s' * (n != 1)}: {succeeded.count(True)} good throughout, {succeeded.count(False)} not"
    return f"{known}{f', {succeeded.count(None)} not known' if None in succeeded else ''}.{left_out_words(log, places)}"


def left_out_words(log: Log, places: Iterable[int]) -> str:
    """Which melts have no place in a figure of some factors, since nobody knows how these were set; empty for none.

    Parameters
    ----------
    places : positions of the factors.
    """
    wanted = sorted(places)
    rows = zip(log.entries, log.raw, strict=True)
    melts = sorted({entry.melt for entry, row in rows if bool(np.isnan(row[wanted]).any())})
    return f" Not drawn, since it is unknown how they were set: {melts_phrase(melts)}." if melts else ""


def spread_out(points: FloatArray, step: tuple[float, float]) -> FloatArray:
    """Points (n, 2) that coincide moved apart into a small block or row, so that each can be seen.

    Parameters
    ----------
    step : how far from one to the next along either axis; a row where the second is 0, packed closer when long.
    """
    groups: dict[tuple[float, float], list[int]] = defaultdict(list)
    for i, (x, y) in enumerate(points):
        groups[float(x), float(y)].append(i)
    moved = np.array(points, dtype=float)
    for members in groups.values():
        n = len(members)
        wide = n if step[1] == 0 else math.ceil(math.sqrt(n))
        high = math.ceil(n / wide)
        across = min(step[0], _LONGEST_ROW / max(n - 1, 1)) if step[1] == 0 else step[0]
        for place, i in enumerate(members):
            row, column = divmod(place, wide)
            moved[i] += (column - (wide - 1) / 2) * across, (row - (high - 1) / 2) * step[1]
    return moved


def put_marks(
    axes: Axes, points: Iterable[Sequence[float]], succeeded: Iterable[bool | None], size: float = 5.5
) -> None:
    """Draw melts at points of the axes."""
    for (x, y), good in zip(points, succeeded, strict=True):
        mark = MELT_MARKS[good]
        axes.plot(
            x, y, mark.marker, ms=size + 0.8 * (good is False), mfc=mark.face, mec=mark.edge, mew=0.8, zorder=6,
            clip_on=False,
        )  # fmt: skip


def key_of_marks(figure: Figure, succeeded: Iterable[bool | None]) -> None:
    """A line at the foot that says what the marks of melts and of the best setting mean."""
    kinds = set(succeeded)
    marks = [MELT_MARKS[good] for good in (True, False, None) if good in kinds]
    looks = [({**_look(mark), "ms": 5.5}, _ENDED.get(mark.says, mark.says)) for mark in marks]
    key_line(figure, [*looks, ({**_look(BEST), "ms": 9.0}, BEST.says)])


_ENDED = {"good": "good throughout"}


def _look(mark: Mark) -> dict[str, Any]:
    return {"marker": mark.marker, "mfc": mark.face, "mec": mark.edge, "mew": 0.8}

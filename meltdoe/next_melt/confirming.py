"""Melts made to confirm a setting, counted without any model: chosen beforehand, so that luck did not choose them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.fit.classical.exact_intervals import chance_at_least
from meltdoe.log.melt_log import Log
from meltdoe.plans.melt_plan import CONFIRMATION, PlannedMelt
from meltdoe.series.factor import Setting

__all__ = ["Confirmed", "confirmed"]

_LEVEL = 0.90
_MOST = 1000


@dataclass(frozen=True)
class Confirmed:
    """What the melts say that were planned to confirm a setting and really made at it.

    Parameters
    ----------
    settings : as planned; the latest ones where several were to be confirmed.
    melts : their numbers. good, bad : how many were so throughout; of the others it is not known.
    proves : exact lower bound of the chance (one-sided, at `level`).
    needed : fewest further melts, all good, after which that bound reaches the target.
    """

    settings: Mapping[str, Setting]
    melts: tuple[int, ...]
    good: int
    bad: int
    proves: float
    needed: int
    level: float = _LEVEL


def confirmed(log: Log, planned: Sequence[PlannedMelt]) -> Confirmed | None:
    """Count the confirmation melts on record; None where there are none."""
    meant = [melt for melt in planned if melt.purpose == CONFIRMATION and melt.melt in log.melt_numbers]
    if not meant:
        return None
    raw = log.series.raw(meant[-1].settings)
    numbers = {melt.melt for melt in meant}
    made = [
        entry
        for entry, row in zip(log.entries, log.raw, strict=True)
        if entry.melt in numbers and np.allclose(row, raw)
    ]
    ends = [log.succeeded(entry) for entry in made]
    good, bad = ends.count(True), ends.count(False)
    target = log.series.target_chance
    needed = next((more for more in range(_MOST) if _proved(good + more, bad) >= target), _MOST)
    melts = tuple(sorted({entry.melt for entry in made}))
    return Confirmed(meant[-1].settings, melts, good, bad, _proved(good, bad), needed) if made else None


def _proved(good: int, bad: int) -> float:
    return chance_at_least(good, good + bad, _LEVEL) if good else 0.0

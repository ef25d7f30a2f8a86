"""What a plan still tells when one melt, or one whole firing, is lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from meltdoe.plans.merits.effect_precision import Information, standard_errors
from meltdoe.series.coding import Coding
from meltdoe.series.terms import Term

__all__ = ["DropOut", "drop_out"]


@dataclass(frozen=True, slots=True)
class DropOut:
    """What is lost when one melt, or one firing, drops out.

    Parameters
    ----------
    worst : number of the melt or firing whose loss hurts most; 0 where nothing can drop out.
    kept_worst, kept_average : precision kept, the mean over effects of old over new standard error, 0 for an effect
        that can no longer be estimated.
    lost : effects that can no longer be estimated without the worst.
    """

    worst: int
    kept_worst: float
    kept_average: float
    lost: tuple[str, ...]


def drop_out(
    known: Information,
    coding: Coding,
    terms: Sequence[Term],
    unit: npt.NDArray[np.int64],
    numbers: Sequence[int],
) -> DropOut:
    """Every unit (melt or firing) left out in turn."""
    before = standard_errors(known, coding, terms)
    could = np.isfinite(before)
    if len(numbers) < 2 or not could.any():
        return DropOut(0, 0.0, 0.0, ())
    after = np.array([standard_errors(known.without(unit == i), coding, terms) for i in range(len(numbers))])
    kept = (before[could] / after[:, could]).mean(axis=1)
    worst = int(kept.argmin())
    lost = tuple(str(term) for term, gone in zip(terms, could & ~np.isfinite(after[worst]), strict=True) if gone)
    return DropOut(int(numbers[worst]), float(kept[worst]), float(kept.mean()), lost)

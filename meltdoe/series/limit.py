"""Limits: settings that must never be proposed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from meltdoe.series.chemistry import Ceiling
from meltdoe.series.factor import FloatArray
from meltdoe.series.limit_parser import Comparison

__all__ = ["Limit"]


@dataclass(frozen=True, slots=True)
class Limit:
    """A comparison over amount factors that every proposed setting keeps.

    Parameters
    ----------
    keep : the text as the user wrote it.
    why : the user's reason, printed wherever the limit bites.
    comparison : the parsed text, or what chemistry or options that can no longer be had put in its place.
    movable : whether the maker could loosen it; not so where what is asked for can no longer be had.
    """

    keep: str
    why: str
    comparison: Comparison | Ceiling
    movable: bool = True

    def holds(self, columns: Mapping[str, FloatArray]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Whether each setting keeps the limit; `columns` holds raw values by factor name."""
        return self.comparison.holds(columns)

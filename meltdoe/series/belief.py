"""What the maker thinks before melting: a chance at a setting, and its worth in melts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from meltdoe.series.factor import Setting

__all__ = ["Belief", "Circumstance"]


@dataclass(frozen=True, slots=True)
class Belief:
    """A chance that `outcome` is good at the setting `at`, worth so many melts of evidence.

    Factors that `at` leaves out stand in the middle of their range. Used as a conditional means prior (Bedrick,
    Christensen & Johnson 1996, J. Am. Stat. Assoc. 91).
    """

    at: Mapping[str, Setting]
    outcome: str
    chance: float
    worth: float = 1.0


@dataclass(frozen=True, slots=True)
class Circumstance:
    """Something recorded, not set (humidity, which kiln, crucible batch), that may enter a model as a nuisance."""

    name: str
    label: str = ""
    unit: str = ""
    options: tuple[str, ...] = ()

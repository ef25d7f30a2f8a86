"""What simulated series come to: how often the target is truly reached, after how many melts, at what price."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np

from meltdoe.series.melt_series import MeltSeries

__all__ = ["FEW_SERIES", "PlayedSeries", "Rehearsal", "TruthSource"]

FEW_SERIES = 20  # below this many the ends of a middle 80 % mean little

TruthSource: TypeAlias = Literal["beliefs", "melts", "stated"]


@dataclass(frozen=True, slots=True)
class PlayedSeries:
    """How one simulated series ended.

    Parameters
    ----------
    melts : simulated melts.
    reachable : whether any allowed setting truly reaches the target.
    stated, true_chance : chance of success stated for the recommended setting, and its true one.
    reached : whether the recommended setting truly reaches the target.
    claimed : whether the program would have said "reached".
    needed : melts made when the recommended setting first truly reached the target; None where it never did. A
        policy that looks at its melts only at the end needs all of them.
    losses : melts with a failure that has a loss to it.
    money : melts, firings and losses.
    """

    melts: int
    reachable: bool
    stated: float
    true_chance: float
    reached: bool
    claimed: bool
    needed: int | None
    losses: int
    money: float


@dataclass(frozen=True)
class Rehearsal:
    """Simulated series of one policy, and what they come to.

    Parameters
    ----------
    source : where the truths come from: beliefs alone, the melts so far, or the user.
    """

    series: MeltSeries
    policy: str
    played: tuple[PlayedSeries, ...]
    source: TruthSource

    @property
    def count(self) -> int:
        return len(self.played)

    @property
    def reachable(self) -> float:
        """Share of the truths in which some allowed setting reaches the target."""
        return _mean([one.reachable for one in self.played])

    @property
    def reached(self) -> float:
        """Share of series whose recommended setting truly reaches the target."""
        return _mean([one.reached for one in self.played])

    @property
    def error(self) -> float:
        """Monte Carlo standard error of `reached`."""
        return float(np.sqrt(max(self.reached * (1.0 - self.reached), 1.0 / self.count) / self.count))

    @property
    def stated(self) -> float:
        """Mean chance stated for the recommended settings."""
        return _mean([one.stated for one in self.played])

    @property
    def true_chance(self) -> float:
        """Mean true chance of the recommended settings."""
        return _mean([one.true_chance for one in self.played])

    @property
    def true_chance_error(self) -> float:
        """Monte Carlo standard error of `true_chance`."""
        return float(np.std([one.true_chance for one in self.played]) / np.sqrt(max(self.count - 1, 1)))

    @property
    def claimed(self) -> float:
        """Share of series in which success was claimed."""
        return _mean([one.claimed for one in self.played])

    @property
    def false_claims(self) -> float:
        """Share of all series in which success was claimed and the recommended setting does not reach the target."""
        return _mean([one.claimed and not one.reached for one in self.played])

    @property
    def melts(self) -> tuple[float, float, float]:
        """Melts made: median and the ends of the middle 80 % of the series."""
        return _spread([one.melts for one in self.played])

    @property
    def melts_needed(self) -> tuple[float, float, float]:
        """Median of the melts needed, and the ends of the middle 80 %; infinite where so many never reached it."""
        return _spread([math.inf if one.needed is None else one.needed for one in self.played])

    @property
    def losses(self) -> float:
        """Mean number of costly failures."""
        return _mean([one.losses for one in self.played])

    @property
    def money(self) -> float:
        return _mean([one.money for one in self.played])

    def summary(self) -> dict[str, float]:
        """The figures that a table of plans shows."""
        return {
            "series": float(self.count),
            "reached": self.reached,
            "true_chance": self.true_chance,
            "true_chance_error": self.true_chance_error,
            "melts": self.melts[0],
            "losses": self.losses,
            "money": self.money,
        }

    def document(self) -> dict[str, Any]:
        """Everything as JSON types; null where a share of the series never reached the target."""
        return {
            "policy": self.policy,
            "truths": self.source,
            "series": self.count,
            "reachable": self.reachable,
            "reached": self.reached,
            "error": self.error,
            "claimed": self.claimed,
            "false_claims": self.false_claims,
            "stated_chance": self.stated,
            "true_chance": self.true_chance,
            "melts_needed": _named(self.melts_needed),
            "melts": _named(self.melts),
            "losses": self.losses,
            "money": self.money,
        }


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values))


def _spread(values: Sequence[float]) -> tuple[float, float, float]:
    """Median and the ends of the middle 80 %, or of all where they are few; each a value that occurred."""
    ordered = np.sort(np.asarray(values, dtype=float))
    last, tail = len(ordered) - 1, 0.1 if len(ordered) >= FEW_SERIES else 0.0
    middle, low, high = (float(ordered[math.floor(q * last + 0.5)]) for q in (0.5, tail, 1.0 - tail))
    return middle, low, high


def _named(spread: tuple[float, float, float]) -> dict[str, float | None]:
    return {
        name: value if math.isfinite(value) else None
        for name, value in zip(("median", "low", "high"), spread, strict=True)
    }

"""Price of a plan: melts, firings, and the losses to expect from outcomes that turn out badly.

Along the chain of outcomes, outcome k is seen with chance c_1 ... c_(k-1) and then fails with chance 1 - c_k, so that a
melt brings a loss of  sum_k loss_k c_1 ... c_(k-1) (1 - c_k)  on average.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from meltdoe.series.melt_series import MeltSeries

__all__ = ["ASSUMED_CHANCE", "Price", "assumed_chances", "cost_of", "expected_failures", "price"]

# Chance that an outcome is good where nobody has said what they believe. Common practice, no source: first melts of a
# new glass go wrong often.
ASSUMED_CHANCE = 0.7


@dataclass(frozen=True, slots=True)
class Price:
    """What a number of melts and firings takes, in the currency of the budget.

    Parameters
    ----------
    melts, firings : what is paid in any case.
    losses : what failures are expected to cost on top.
    """

    melts: float
    firings: float
    losses: float
    currency: str = ""

    @property
    def sure(self) -> float:
        """What is paid in any case."""
        return self.melts + self.firings

    @property
    def total(self) -> float:
        """With the expected losses."""
        return self.sure + self.losses

    def __str__(self) -> str:
        return f"{self.total:.0f} {self.currency}".strip()


def assumed_chances(series: MeltSeries, default: float = ASSUMED_CHANCE) -> dict[str, float]:
    """Chance that each outcome with a meaning of good is good, given that the one before was.

    The mean of the beliefs about that outcome, each counted by its worth in melts; `default` where there is none.
    """
    chances: dict[str, float] = {}
    for outcome in series.outcomes:
        if not outcome.counts:
            continue
        held = [belief for belief in series.beliefs if belief.outcome == outcome.name and belief.worth > 0]
        worth = sum(belief.worth for belief in held)
        chances[outcome.name] = sum(belief.chance * belief.worth for belief in held) / worth if held else default
    return chances


def expected_failures(series: MeltSeries, n_melts: int, chances: Mapping[str, float] | None = None) -> dict[str, float]:
    """How many of `n_melts` are expected to fail at each outcome that counts.

    Parameters
    ----------
    chances : chance that an outcome is good given that the one before was, by name; outcomes left out take
        `assumed_chances`.
    """
    held = {**assumed_chances(series), **(chances or {})}
    failures = {}
    for name in assumed_chances(series):
        reached = 1.0
        for forerunner in series.forerunners(name):
            reached *= held.get(forerunner.name, 1.0)
        failures[name] = n_melts * reached * (1.0 - held[name])
    return failures


def cost_of(
    series: MeltSeries, n_melts: int, n_firings: int, expected_failures: Mapping[str, float] | None = None
) -> Price:
    """Price of so many melts and firings.

    Parameters
    ----------
    expected_failures : number of failures by outcome name; without it no losses are counted.
    """
    losses = sum(series.costs.loss.get(name, 0.0) * count for name, count in (expected_failures or {}).items())
    return Price(series.costs.melt * n_melts, series.costs.firing * n_firings, losses, series.budget.currency)


def price(series: MeltSeries, n_melts: int, n_firings: int, chances: Mapping[str, float] | None = None) -> Price:
    """Price of so many melts and firings with the losses that `chances` (or beliefs, or the default) let expect."""
    return cost_of(series, n_melts, n_firings, expected_failures(series, n_melts, chances))

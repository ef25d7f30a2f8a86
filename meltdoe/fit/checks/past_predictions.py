"""How well the melts so far were foretold: the chance stated before each one, from those before it, and what came.

Prequential judgement (Dawid 1984, J. R. Statist. Soc. A 147, 278-292, from memory): only forecasts that could have been
made at the time count. Melts of one firing are foretold together, from the firings before it. With p the chance stated
and y what came (1 good, 0 bad),

    z = sum (y - p) / sqrt(sum p (1 - p))

is about standard normal where the chances were right, whatever settings were chosen (Seillier-Moiseiwitsch & Dawid
1993, J. Am. Stat. Assoc. 88, 355-359, from memory), and the Brier score is the mean of (y - p)^2 (Brier 1950): 0.25
for a coin's 50 % every time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_data import stage_data
from meltdoe.fit.stages.stage_fit import StageFit, fit_stage
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series.outcome import Outcome, Unseen

__all__ = ["FEWEST_MELTS", "Forecast", "PastPredictions", "firings_in_order", "past_predictions"]

FEWEST_MELTS = 5  # fewer forecasts say nothing on their quality
_DRAWS = 800
_Name: TypeAlias = tuple[int, int]  # melt and mould


@dataclass(frozen=True, slots=True)
class Forecast:
    """One chance stated before a melt, and what came.

    Attributes
    ----------
    outcome : None for full success.
    chance : stated chance of good, given that the outcome would be reached.
    good : what came.
    """

    entry: Entry
    outcome: Outcome | None
    chance: float
    good: bool


@dataclass(frozen=True, slots=True)
class PastPredictions:
    """All forecasts of a series.

    Attributes
    ----------
    forecasts : one for each outcome that was reached and judged, in the order of the work.
    successes : one for each casting whose full success is known.
    why_not : why there are none; empty otherwise.
    """

    forecasts: tuple[Forecast, ...]
    successes: tuple[Forecast, ...]
    why_not: str = ""

    @property
    def expected_good(self) -> float:
        """How many of `forecasts` were expected to be good."""
        return math.fsum(f.chance for f in self.forecasts)

    @property
    def seen_good(self) -> int:
        return sum(f.good for f in self.forecasts)

    @property
    def z(self) -> float:
        """Above 0 where more came good than was stated; nan without forecasts."""
        variance = math.fsum(f.chance * (1 - f.chance) for f in self.forecasts)
        return (self.seen_good - self.expected_good) / math.sqrt(variance) if variance > 0 else math.nan

    @property
    def brier(self) -> float:
        """Mean squared distance of what came from what was stated; nan without forecasts."""
        if not self.forecasts:
            return math.nan
        return float(np.mean([(f.good - f.chance) ** 2 for f in self.forecasts]))

    def between(self, low: float, high: float) -> tuple[Forecast, ...]:
        """Forecasts with low <= chance < high."""
        return tuple(f for f in self.forecasts if low <= f.chance < high)


def firings_in_order(entries: tuple[Entry, ...]) -> tuple[int, ...]:
    """Numbers of the firings as they followed each other: by date where every entry has one, else by number."""
    firings = sorted({entry.firing for entry in entries})
    dates = {entry.firing: entry.date for entry in entries}
    if any(entry.date is None for entry in entries):
        return tuple(firings)
    return tuple(sorted(firings, key=lambda firing: (dates[firing], firing)))


def past_predictions(chain: ChainFit, *, beliefs: bool = True, fewest: int = FEWEST_MELTS) -> PastPredictions:
    """Fit the series as it stood before each firing, and foretell that firing.

    Parameters
    ----------
    beliefs : whether the beliefs of the series take part.
    fewest : melts below which nothing is judged.
    """
    series, log = chain.series, chain.log
    melts = len(log.melt_numbers)
    if melts < fewest:
        return PastPredictions((), (), f"too few melts ({melts}) to judge past predictions by; {fewest} are wanted")
    judged = [i for i, stage in enumerate(chain.stages) if stage.outcome.counts]
    reached = {i: {_name(log.entries[row]) for row in chain.stages[i].rows} for i in judged}
    fits: dict[tuple[int, frozenset[_Name]], StageFit] = {}
    forecasts: list[Forecast] = []
    successes: list[Forecast] = []
    before: list[Entry] = []
    for firing in firings_in_order(log.entries):
        now = [entry for entry in log.entries if entry.firing == firing]
        usable = [entry for entry in now if np.isfinite(series.raw(entry.settings)).all()]
        raw = series.raw_table(entry.settings for entry in usable)
        success = np.ones(len(usable))
        past = Log(series, tuple(before))
        for i in judged if usable else ():
            outcome = chain.stages[i].outcome
            # An outcome of which the last firing showed nothing is as it was: it need not be fitted again.
            key = (i, frozenset(_name(before[row]) for row in stage_data(series, past, outcome).rows))
            if key not in fits:
                fits[key] = fit_stage(
                    series,
                    past,
                    outcome,
                    level=chain.level,
                    seed=(abs(chain.seed), i),
                    n_draws=_DRAWS,
                    beliefs=beliefs,
                    effort="refit",
                )
            chance = fits[key].chance_draws(raw).mean(axis=0)
            success *= chance
            for entry, p in zip(usable, chance, strict=True):
                good = outcome.is_good(entry.seen.get(outcome.name, Unseen.NOT_REACHED))
                if good is not None and _name(entry) in reached[i]:
                    forecasts.append(Forecast(entry, outcome, float(p), good))
        for entry, p in zip(usable, success, strict=True):
            ended = log.succeeded(entry)
            if judged and ended is not None:
                successes.append(Forecast(entry, None, float(p), ended))
        before += now
    return PastPredictions(tuple(forecasts), tuple(successes))


def _name(entry: Entry) -> _Name:
    return entry.melt, entry.mould

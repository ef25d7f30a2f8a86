"""How well the melts so far were foretold: the chance stated before each one, from those before it, and what came.

Prequential judgement (Dawid 1984, J. R. Statist. Soc. A 147, 278-292, from memory): only forecasts that could have been
made at the time count. Melts of one firing are foretold together, from the firings before it; in a long series those of
a few firings (`meltdoe.fit.checks.past_fits`). With p the chance stated
and y what came (1 good, 0 bad),

    z = sum (y - p) / sqrt(sum p (1 - p))

is about standard normal where the chances were right, whatever settings were chosen (Seillier-Moiseiwitsch & Dawid
1993, J. Am. Stat. Assoc. 88, 355-359, from memory), and the Brier score is the mean of (y - p)^2 (Brier 1950): 0.25
for a coin's 50 % every time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from meltdoe.fit.checks.past_fits import PastFits
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.log.melt_log import Entry
from meltdoe.series.outcome import Outcome, Unseen

__all__ = ["FEWEST_MELTS", "Forecast", "PastPredictions", "past_predictions"]

FEWEST_MELTS = 5  # fewer forecasts say nothing on their quality


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
    together : whether some firings that followed each other were foretold together, from the firings before them all.
    """

    forecasts: tuple[Forecast, ...]
    successes: tuple[Forecast, ...]
    why_not: str = ""
    together: bool = False

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


def past_predictions(chain: ChainFit, past: PastFits | None = None, *, fewest: int = FEWEST_MELTS) -> PastPredictions:
    """Foretell every firing from the series as it stood before it, with the chain's own beliefs.

    Parameters
    ----------
    past : fits of the past where they have been made already; in a long series one serves several firings.
    fewest : melts below which nothing is judged.
    """
    series, log = chain.series, chain.log
    melts = len(log.melt_numbers)
    if melts < fewest:
        return PastPredictions((), (), f"too few melts ({melts}) to judge past predictions by; {fewest} are wanted")
    fits = PastFits(chain) if past is None else past
    judged = [stage for stage in chain.stages if stage.outcome.counts]
    reached = [{_name(log.entries[row]) for row in stage.rows} for stage in judged]
    forecasts: list[Forecast] = []
    successes: list[Forecast] = []
    for turn, firing in enumerate(fits.order):
        before = fits.after(max(stop for stop in fits.stops if stop <= turn))
        now = [entry for entry in log.entries if entry.firing == firing]
        usable = [entry for entry in now if np.isfinite(series.raw(entry.settings)).all()]
        raw = series.raw_table(entry.settings for entry in usable)
        success = np.ones(len(usable))
        for stage, names in zip(before.stages, reached, strict=True) if usable else ():
            chance = stage.chance_draws(raw).mean(axis=0)
            success *= chance
            for entry, p in zip(usable, chance, strict=True):
                good = stage.outcome.is_good(entry.seen.get(stage.outcome.name, Unseen.NOT_REACHED))
                if good is not None and _name(entry) in names:
                    forecasts.append(Forecast(entry, stage.outcome, float(p), good))
        for entry, p in zip(usable, success, strict=True):
            ended = log.succeeded(entry)
            if judged and ended is not None:
                successes.append(Forecast(entry, None, float(p), ended))
    return PastPredictions(tuple(forecasts), tuple(successes), together=len(fits.stops) < len(fits.order))


def _name(entry: Entry) -> tuple[int, int]:
    return entry.melt, entry.mould

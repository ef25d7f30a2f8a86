"""How the glass really behaves in a simulated series: what a melt at some setting would show.

Two sorts of truth share one way of being melted. A drawn one is a single draw of every stage of a fitted chain, from
the beliefs alone or from the melts so far; a stated one (`meltdoe.rehearsal.stated_truth`) is what the user supposes.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.log.melt_log import Entry
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.series.factor import FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Seen, Unseen

__all__ = ["DrawnTruth", "Truth"]


class Truth(ABC):
    """One way in which the glass may behave."""

    series: MeltSeries

    @abstractmethod
    def chance(self, raw: FloatArray) -> FloatArray:
        """True chance of success in a new firing at raw settings (n, n_factors), shape (n,)."""

    @abstractmethod
    def values(self, outcome: Outcome, raw: FloatArray, firings: Sequence[int], rng: np.random.Generator) -> list[Seen]:
        """What is seen of one outcome by melts at raw settings (n, n_factors), had all of them reached it.

        Parameters
        ----------
        firings : number of the firing of each melt.
        """

    def melted(self, melts: Sequence[PlannedMelt], rng: np.random.Generator) -> tuple[Entry, ...]:
        """Make some melts: what is seen, stage by stage, until one is not good."""
        series = self.series
        raw = series.raw_table(melt.settings for melt in melts)
        firings = [melt.firing for melt in melts]
        seen: list[dict[str, Seen]] = [{} for _ in melts]
        for outcome in series.outcomes:
            values = self.values(outcome, raw, firings, rng)
            for melt, value in zip(seen, values, strict=True):
                after = outcome.after
                reached = after is None or series.outcome(after).is_good(melt[after]) is True
                melt[outcome.name] = value if reached else Unseen.NOT_REACHED
        return tuple(
            Entry(melt=melt.melt, firing=melt.firing, settings=melt.settings, seen=what)
            for melt, what in zip(melts, seen, strict=True)
        )


@dataclass(frozen=True, eq=False)
class DrawnTruth(Truth):
    """One draw of a fitted chain, taken to be how the glass really behaves.

    Parameters
    ----------
    worlds : the chain whose draws are the possible truths.
    draw : which of them.
    """

    worlds: ChainFit
    draw: int

    @property
    def series(self) -> MeltSeries:  # type: ignore[override]
        return self.worlds.series

    @cached_property
    def _alone(self) -> ChainFit:
        """The chain with this draw only."""
        stages = tuple(
            replace(
                stage,
                posterior=replace(
                    stage.posterior, draws=stage.posterior.draws[self.draw : self.draw + 1], weights=np.ones(1)
                ),
            )
            for stage in self.worlds.stages
        )
        return replace(self.worlds, stages=stages, n_draws=1)

    def chance(self, raw: FloatArray) -> FloatArray:
        return np.asarray(self._alone.success_draws(raw)[0])

    def values(self, outcome: Outcome, raw: FloatArray, firings: Sequence[int], rng: np.random.Generator) -> list[Seen]:
        del firings  # the draw's chances are those of a new firing for every melt
        draws = self._alone.stage(outcome.name).outcome_draws(raw)
        if isinstance(draws, tuple):
            mean, sigma = draws
            readings = rng.normal(mean[0], sigma[0])
            low, high = outcome.bounds or (-np.inf, np.inf)
            return [float(value) for value in np.clip(readings, low, high)]
        chosen = (rng.uniform(size=(draws.shape[1], 1)) > np.cumsum(draws[0], axis=1)).sum(axis=1)
        words: Sequence[Seen] = (True, False) if outcome.kind == "pass" else outcome.grades
        return [words[min(int(c), len(words) - 1)] for c in chosen]

"""A possible world: one posterior (or, before any melt, prior) draw of every stage, from which melts can be made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.fit.stage_chain import ChainFit
from meltdoe.log.melt_log import Entry
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.series.factor import FloatArray
from meltdoe.series.outcome import Outcome, Seen, Unseen

__all__ = ["Truth"]


@dataclass(frozen=True, eq=False)
class Truth:
    """One draw of a fitted chain, taken to be how the glass really behaves.

    Parameters
    ----------
    chain : the chain whose draws are the possible worlds.
    draw : which of them.
    """

    chain: ChainFit
    draw: int

    def chance(self, raw: FloatArray) -> FloatArray:
        """True chance of success at raw settings (n, n_factors), shape (n,)."""
        return np.asarray(self.chain.success_draws(raw)[self.draw])

    def melted(self, melts: Sequence[PlannedMelt], rng: np.random.Generator) -> tuple[Entry, ...]:
        """Make some melts in this world: what is seen, stage by stage, until one is not good."""
        series = self.chain.series
        raw = series.raw_table(melt.settings for melt in melts)
        seen: list[dict[str, Seen]] = [{} for _ in melts]
        for stage in self.chain.stages:
            values = _values(stage.outcome, stage.outcome_draws(raw), self.draw, rng)
            for melt, value in zip(seen, values, strict=True):
                after = stage.outcome.after
                reached = after is None or series.outcome(after).is_good(melt[after]) is True
                melt[stage.outcome.name] = value if reached else Unseen.NOT_REACHED
        return tuple(
            Entry(melt=melt.melt, firing=melt.firing, settings=melt.settings, seen=what)
            for melt, what in zip(melts, seen, strict=True)
        )


def _values(
    outcome: Outcome, draws: FloatArray | tuple[FloatArray, FloatArray], draw: int, rng: np.random.Generator
) -> list[Seen]:
    """A simulated value of one outcome for each setting."""
    if isinstance(draws, tuple):
        mean, sigma = draws
        values = rng.normal(mean[draw], sigma[draw])
        low, high = outcome.bounds or (-np.inf, np.inf)
        return [float(value) for value in np.clip(values, low, high)]
    chosen = (rng.uniform(size=(draws.shape[1], 1)) > np.cumsum(draws[draw], axis=1)).sum(axis=1)
    words: Sequence[Seen] = (True, False) if outcome.kind == "pass" else outcome.grades
    return [words[min(int(c), len(words) - 1)] for c in chosen]

"""What beliefs do, the maker's or chemistry's: what they foretell, where the melts moved them, and the answer without.

The prior predictive check (Box 1980, J. R. Statist. Soc. A 143, 383-430, from memory) puts the beliefs, together with
the default prior, back on the scale on which they were stated. A belief is worth only so many melts, so the chance it
leads to lies between the stated one and a half, with a wide interval. What is checked are the beliefs of one side;
those of the other take part throughout.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

import numpy as np

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_fit import StageFit, fit_stage
from meltdoe.log.melt_log import Log
from meltdoe.series.belief import Belief
from meltdoe.series.factor import FloatArray, Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = ["BeliefCheck", "BelievedChance", "ChanceRange", "WhoseBeliefs", "belief_check"]

WhoseBeliefs: TypeAlias = Literal["maker", "chemistry"]


@dataclass(frozen=True, slots=True)
class ChanceRange:
    """Posterior (or prior) mean of a chance with its interval."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class BelievedChance:
    """One belief against what it leads to.

    Attributes
    ----------
    settings : where it was stated, all factors; those it leaves out stand in their middle.
    before, after : chance of good there before any melt and with all melts, beliefs included.
    without : with all melts, beliefs left out.
    conflict : whether the chance believed lies outside the interval of `without`.
    """

    belief: Belief
    settings: Mapping[str, Setting]
    before: ChanceRange
    after: ChanceRange
    without: ChanceRange

    @property
    def conflict(self) -> bool:
        return not self.without.low <= self.belief.chance <= self.without.high


@dataclass(frozen=True, slots=True)
class BeliefCheck:
    """All beliefs of a series.

    Attributes
    ----------
    beliefs : one for each belief about an outcome that counts. level : of all intervals.
    best, best_without : best setting with the beliefs and without them.
    chance_without : chance of success, without beliefs, at the setting that is best with them.
    before_at_best : chance of success there before any melt.
    right : chance, given the melts, that chemistry is right, by outcome; empty where the beliefs are the maker's.
    other_setting : whether another setting would be recommended without beliefs, by more than 5 points.
    """

    beliefs: tuple[BelievedChance, ...]
    level: float
    best: BestSetting
    best_without: BestSetting
    chance_without: ChanceRange
    before_at_best: ChanceRange
    other_setting: bool
    right: Mapping[str, float] = field(default_factory=dict)


def belief_check(chain: ChainFit, best: BestSetting | None = None, whose: WhoseBeliefs = "maker") -> BeliefCheck | None:
    """Refit the outcomes that beliefs speak of without melts, and without beliefs.

    Parameters
    ----------
    chain : a fit with its beliefs.
    best : its best setting where that has been found already.
    whose : whose beliefs are checked, and left out for comparison.

    Returns
    -------
    None where there is no such belief about an outcome that is judged.

    Raises
    ------
    Inestimable
        Where no setting keeps every limit.
    """
    series = chain.series
    counted = {stage.outcome.name for stage in chain.stages if stage.outcome.counts}
    expected = series.chemistry_prior.beliefs if series.chemistry_prior else ()
    told = series.beliefs if whose == "maker" else expected
    held = [belief for belief in told if belief.outcome in counted and belief.worth > 0]
    if not held:
        return None
    spoken_of = {belief.outcome for belief in held}

    def refitted(series: MeltSeries, log: Log, everything: bool) -> ChainFit:
        stages = tuple(
            _fitted(chain, series, i, log) if everything or stage.outcome.name in spoken_of else stage
            for i, stage in enumerate(chain.stages)
        )
        return replace(chain, log=log, stages=stages)

    before = refitted(series, Log(series), everything=True)
    silent = replace(series, beliefs=()) if whose == "maker" else replace(series, chemistry_prior=None)
    without = refitted(silent, chain.log, everything=False)
    with_best = chain.best() if best is None else best
    without_best = without.best()
    found = []
    for belief in held:
        given = series.raw(belief.at)
        raw = np.where(np.isnan(given), series.coding.centre(), given)[None]
        ranges = [_range(fit.stage(belief.outcome).chance_draws(raw), chain.level) for fit in (before, chain, without)]
        found.append(BelievedChance(belief, series.settings(raw[0]), *ranges))
    at_best = with_best.raw[None]
    chance_without = _range(without.success_draws(at_best), chain.level)
    return BeliefCheck(
        beliefs=tuple(found),
        level=chain.level,
        best=with_best,
        best_without=without_best,
        chance_without=chance_without,
        before_at_best=_range(before.success_draws(at_best), chain.level),
        other_setting=bool(without_best.chance - chance_without.mean >= 0.05),
        right={name: chain.stage(name).chemistry_right for name in spoken_of} if whose == "chemistry" else {},
    )


def _fitted(chain: ChainFit, series: MeltSeries, position: int, log: Log) -> StageFit:
    """The outcome fitted afresh, as `meltdoe.fit.stages.stage_chain.fit_chain` does."""
    outcome, seed = chain.stages[position].outcome, (abs(chain.seed), position)
    return fit_stage(
        series, log, outcome, level=chain.level, seed=seed, n_draws=chain.n_draws, beliefs=True, effort="refit"
    )


def _range(draws: FloatArray, level: float) -> ChanceRange:
    low, high = np.quantile(draws[:, 0], [(1 - level) / 2, (1 + level) / 2])
    return ChanceRange(float(draws.mean()), float(low), float(high))

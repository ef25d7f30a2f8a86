"""The whole chain of outcomes: from a log to the chance that a melt ends well.

Every outcome is modelled given that its forerunners were good (`meltdoe.fit.stages.stage_fit`), with a posterior of its
own. With s the draw, the chance of success is the product p_1s(x) p_2s(x) ... over the outcomes that count; where
several outcomes come after the same one, all of them count. Unseen is neither failed nor missing at random: a melt that
broke its crucible says nothing about cracks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from meltdoe.fit.draws.inclusion_mixture import Effort
from meltdoe.fit.stages.best_setting import BestSetting, best_setting
from meltdoe.fit.stages.stage_fit import StageFit, fit_stage
from meltdoe.log.melt_log import Log
from meltdoe.series.factor import FloatArray
from meltdoe.series.melt_series import MeltSeries

__all__ = ["BestSetting", "ChainFit", "ChanceTable", "StageFit", "fit_chain"]

N_DRAWS: dict[Effort, int] = {"full": 2000, "refit": 1000, "draft": 400}


@dataclass(frozen=True, slots=True, eq=False)
class ChanceTable:
    """Posterior mean chance and its interval at each setting, three arrays of shape (n,)."""

    mean: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, eq=False)
class ChainFit:
    """A fitted chain.

    Attributes
    ----------
    stages : one for each outcome, in the order of the work.
    level : level of all intervals. n_draws : posterior draws of every outcome. seed : what fixed them.
    """

    series: MeltSeries
    log: Log
    stages: tuple[StageFit, ...]
    level: float
    n_draws: int
    seed: int

    def stage(self, name: str) -> StageFit:
        """The fit of the outcome of that name; KeyError where there is none."""
        for stage in self.stages:
            if stage.outcome.name == name:
                return stage
        raise KeyError(name)

    def success_draws(self, raw: FloatArray, *, thin: int = 1) -> FloatArray:
        """Chance that every outcome that counts is good in a new firing.

        Parameters
        ----------
        raw : (n, n_factors) raw settings. thin : use every `thin`-th draw.

        Returns
        -------
        (n_draws, n).
        """
        table = np.atleast_2d(np.asarray(raw, dtype=float))
        product = np.ones((len(range(0, self.n_draws, thin)), len(table)))
        for stage in self.stages:
            if stage.outcome.counts:
                product *= stage.chance_draws(table, thin=thin)
        return product

    def chance(self, raw: FloatArray) -> ChanceTable:
        """Posterior mean and interval of the chance of success at raw settings (n, n_factors)."""
        draws = self.success_draws(raw)
        low, high = np.quantile(draws, [(1 - self.level) / 2, (1 + self.level) / 2], axis=0)
        return ChanceTable(draws.mean(axis=0), low, high)

    def stage_failure_share(self, raw: FloatArray) -> Mapping[str, FloatArray]:
        """Where melts at raw settings (n, n_factors) are expected to fail first.

        Returns
        -------
        For each outcome that counts, its share of all expected failures, shape (n,); the shares of a setting sum to 1.
        An outcome that stands later in the order of the work carries only melts that got past the ones before it.
        """
        table = np.atleast_2d(np.asarray(raw, dtype=float))
        so_far = np.ones((self.n_draws, len(table)))
        lost: dict[str, FloatArray] = {}
        for stage in self.stages:
            if stage.outcome.counts:
                good = stage.chance_draws(table)
                lost[stage.outcome.name] = (so_far * (1 - good)).mean(axis=0)
                so_far = so_far * good
        total = np.sum(list(lost.values()), axis=0) if lost else np.zeros(len(table))
        safe = np.where(total > 0, total, 1.0)
        return {name: share / safe for name, share in lost.items()}

    def best(self, candidates: FloatArray | None = None) -> BestSetting:
        """The setting with the best chance of success.

        Parameters
        ----------
        candidates : (n, n_factors) raw settings to choose from; all settable ones that keep the limits where None.

        Raises
        ------
        Inestimable
            Where no setting keeps every limit.
        """
        if candidates is None:
            return self._best
        return best_setting(self.series, self.success_draws, self.level, candidates)

    @cached_property
    def _best(self) -> BestSetting:
        return best_setting(self.series, self.success_draws, self.level, seen=self.log.raw)


def fit_chain(
    series: MeltSeries,
    log: Log,
    *,
    level: float = 0.90,
    seed: int | None = None,
    use_beliefs: bool = True,
    n_draws: int | None = None,
    effort: Effort = "full",
) -> ChainFit:
    """Fit every outcome of a log.

    Parameters
    ----------
    log : any number of entries, none included; their order has no influence.
    level : level of all intervals.
    seed : fixes the posterior draws; the seed of the series where None.
    use_beliefs : whether the maker's beliefs and chemistry's take part.
    n_draws : posterior draws to keep of every outcome; 2,000, or 400 of a draft.
    effort : "draft" is quicker and coarser, for rehearsals.

    Raises
    ------
    ValueError
        Where level is not a share.
    """
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1, not {level}")
    chosen = series.seed if seed is None else seed
    n_draws = n_draws or N_DRAWS[effort]
    stages = tuple(
        fit_stage(
            series,
            log,
            outcome,
            level=level,
            seed=(abs(chosen), i),
            n_draws=n_draws,
            beliefs=use_beliefs,
            effort=effort,
        )
        for i, outcome in enumerate(series.outcomes)
    )
    return ChainFit(series, log, stages, level, n_draws, chosen)

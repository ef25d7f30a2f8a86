"""The bridge from a fitted chain to arrays over candidates: only posterior draws pass over it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from meltdoe.fit.stages.stage_chain import ChainFit, StageFit
from meltdoe.next_melt.gain import GoodDraws
from meltdoe.next_melt.information import StageView, measured_cells
from meltdoe.series.factor import FloatArray
from meltdoe.series.outcome import GoodRange

__all__ = ["ChainViews", "chain_views"]


@dataclass(frozen=True, eq=False)
class ChainViews:
    """Every stage of a chain at a table of candidates.

    Parameters
    ----------
    raw : (n_candidates, n_factors), the candidates.
    names : outcome of each stage.
    stages : the stages, in the order of the work.
    """

    raw: FloatArray
    names: tuple[str, ...]
    stages: tuple[StageView, ...]

    @property
    def success_draws(self) -> FloatArray:
        """Chance that everything that counts is good, by draw, shape (n_draws, n_candidates)."""
        counting = [stage for stage in self.stages if stage.counts]
        success = np.ones(counting[0].probabilities.shape[:2])
        for stage in counting:
            success *= stage.good_draws
        return success

    def at(self, candidates: npt.NDArray[np.intp]) -> ChainViews:
        """The same for some of the candidates."""
        return ChainViews(self.raw[candidates], self.names, tuple(stage.at(candidates) for stage in self.stages))

    def every(self, parts: int, part: int) -> ChainViews:
        """The same from every `parts`-th draw, beginning with the one at position `part`."""
        stages = tuple(
            StageView(stage.probabilities[part::parts], stage.good, stage.after, stage.counts) for stage in self.stages
        )
        return ChainViews(self.raw, self.names, stages)

    def good_draws(self, targets: ChainViews) -> tuple[GoodDraws, ...]:
        """Counting stages at the candidates and at the settings that may be recommended."""
        counting = [k for k, stage in enumerate(self.stages) if stage.counts]
        place = {k: i for i, k in enumerate(counting)}
        return tuple(
            GoodDraws(
                self.stages[k].good_draws,
                targets.stages[k].good_draws,
                place.get(after) if (after := self.stages[k].after) is not None else None,
            )
            for k in counting
        )


def chain_views(chain: ChainFit, raw: FloatArray, draws: int | None = None, *, in_full: bool = True) -> ChainViews:
    """Look at a table of raw settings through every stage.

    Parameters
    ----------
    draws : about how many evenly spaced posterior draws to use; all where None.
    in_full : every category of an outcome; otherwise only whether it is good, which is enough for a first look.
    """
    table = np.atleast_2d(raw)
    names = tuple(stage.outcome.name for stage in chain.stages)
    thin = 1 if draws is None else max(chain.n_draws // draws, 1)
    views = tuple(_view(stage, names, table, thin, in_full) for stage in chain.stages)
    return ChainViews(table, names, views)


def _view(stage: StageFit, names: tuple[str, ...], raw: FloatArray, thin: int, in_full: bool) -> StageView:
    outcome = stage.outcome
    after = names.index(outcome.after) if outcome.after is not None else None
    if outcome.kind == "pass" or not in_full or not outcome.counts:  # an outcome that is only described teaches nothing
        good = _measured_good(stage, raw, thin) if outcome.kind == "measured" else stage.chance_draws(raw, thin=thin)
        return StageView(np.stack([good, 1.0 - good], axis=2), np.array([True, False]), after, outcome.counts)
    seen = stage.outcome_draws(raw, thin=thin)
    if isinstance(seen, tuple):
        mean, sigma = seen
        ends = (outcome.good.low, outcome.good.high) if isinstance(outcome.good, GoodRange) else None
        cells, is_good = measured_cells(mean, sigma, ends, outcome.bounds)
        return StageView(cells, is_good, after)
    words = outcome.good if isinstance(outcome.good, tuple) else ()
    return StageView(seen, np.array([grade in words for grade in outcome.grades]), after)


def _measured_good(stage: StageFit, raw: FloatArray, thin: int) -> FloatArray:
    """Chance that a measurement is good, (n_draws, n): firing and single value scatter are both normal, so they add."""
    outcome = stage.outcome
    seen = stage.outcome_draws(raw, thin=thin)
    if not isinstance(outcome.good, GoodRange) or not isinstance(seen, tuple):
        return stage.chance_draws(raw, thin=thin)
    mean, sigma = seen[0], seen[1][:, None]
    least, most = outcome.bounds or (-np.inf, np.inf)
    good = np.ones_like(mean)
    if outcome.good.high < most:  # what piles up at a bound is good where the good range reaches it
        good = ndtr((outcome.good.high - mean) / sigma)
    if outcome.good.low > least:
        good -= ndtr((outcome.good.low - mean) / sigma)
    return np.asarray(good)

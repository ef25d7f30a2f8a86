"""The bridge from a fitted chain to arrays over candidates: only posterior draws pass over it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from meltdoe.fit.stages.stage_chain import ChainFit, StageFit
from meltdoe.next_melt.gain import GoodDraws
from meltdoe.next_melt.information import StageView, measured_cells
from meltdoe.series.factor import FloatArray
from meltdoe.series.outcome import GoodRange

__all__ = ["RANKING_DRAWS", "ChainViews", "chain_views"]

RANKING_DRAWS = 400  # posterior draws used for ranking a shortlist, and for the price of a melt


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

    @cached_property
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
        good = stage.chance_draws(raw, thin=thin)
        either = np.array([good, 1.0 - good]).transpose(1, 2, 0)  # each lies together in memory
        return StageView(either, np.array([True, False]), after, outcome.counts)
    seen = stage.outcome_draws(raw, thin=thin)
    if isinstance(seen, tuple):
        mean, sigma = seen
        ends = (outcome.good.low, outcome.good.high) if isinstance(outcome.good, GoodRange) else None
        cells, is_good = measured_cells(mean, sigma, ends, outcome.bounds)
        return StageView(cells, is_good, after)
    words = outcome.good if isinstance(outcome.good, tuple) else ()
    return StageView(seen, np.array([grade in words for grade in outcome.grades]), after)

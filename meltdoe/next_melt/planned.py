"""The plan's own next melts held against what the search proposes.

The search picks the best of thousands of noisy figures, and looks at one firing only. So both firings are scored again
with all posterior draws, of which the search saw a part, and the plan's melts give way only where they are worth less
by more than two standard errors and by more than a twentieth. A plan of which nothing is melted yet gives way only
where its first firing is worth less by more than a quarter: its pattern pays when it is whole, and series that were
played to the end with a plan first and without one needed as many melts (`tests/benchmarks/policy_study.py`). Planned
melts that are proposed break no limit, nor a ceiling on risk that the searched ones keep.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.next_melt.firing_search import Scores, score
from meltdoe.next_melt.firing_set import added_information, coarser
from meltdoe.next_melt.gain import GoodDraws, expected_gain
from meltdoe.next_melt.information import StageView
from meltdoe.next_melt.left import Unmade
from meltdoe.next_melt.suggestion import Suggestion, suggest
from meltdoe.next_melt.views import ChainViews, chain_views
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.series.factor import FloatArray

__all__ = ["PlannedNext", "planned_next"]

_TIE = 0.05  # share of the worth within which two firings are as good as each other
_WHOLE = 0.25  # the same for the first firing of a plan, which says little about what the whole pattern tells
_ERRORS = 2.0  # standard errors of the difference
_BATCHES = 5  # parts of the draws that the standard error is taken from
_TARGETS = 60  # settings that may come out as the best, the most hopeful ones
_JOINT = 3  # melts whose joint ways to go are enumerated


@dataclass(frozen=True, eq=False)
class PlannedNext:
    """The melts of the plan's next firing.

    Parameters
    ----------
    melts : as proposals, with their own chance, risk and cost.
    share : what they are worth for the aim, as a share of what as many of the searched proposals are worth.
    error : standard error of the share from the posterior draws.
    broken : limits that one of them breaks, as they are written.
    too_risky : whether one of them goes over the ceiling on risk that the searched proposals keep.
    begun : whether a melt of the firing is on record. unstarted : whether no melt of the plan is.
    """

    melts: tuple[Suggestion, ...]
    share: float
    error: float
    broken: tuple[str, ...]
    too_risky: bool
    begun: bool
    unstarted: bool

    def first(self, count: int, firing_price: float) -> tuple[Suggestion, ...]:
        """The first melts of the firing, its price shared among them; a firing that has begun is paid already."""
        melts = self.melts[:count]
        share = (0.0 if self.begun else firing_price / len(melts)) - firing_price / len(self.melts)
        return tuple(replace(melt, cost=melt.cost + share) for melt in melts)

    @property
    def tied(self) -> bool:
        """Whether they are worth as much as the searched proposals, as far as can be told."""
        return self.share >= 1.0 - max(_TIE, _ERRORS * self.error)

    @property
    def followed(self) -> bool:
        """Whether these are the melts to make next."""
        near = self.tied or (self.unstarted and self.share >= 1.0 - _WHOLE)
        return near and not self.broken and not self.too_risky


def planned_next(
    chain: ChainFit,
    planned: Sequence[PlannedMelt],
    unmade: Unmade,
    found: Sequence[Suggestion],
    scores: Scores,
    targets: ChainViews,
    weight: float,
    most_risk: float | None,
) -> PlannedNext:
    """Judge the next melts of the plan.

    Parameters
    ----------
    planned : the whole plan. unmade : what is left of it.
    found : what the search proposes. scores : of the search, whose best figures set the scale of worth.
    targets : settings that may come out as the best, the most hopeful first.
    weight : of learning in the aim. most_risk : ceiling on the chance of a costly failure.
    """
    series = chain.series
    open_melts = {melt.melt: melt for melt in planned if melt.melt in unmade.melts}
    first = open_melts[(unmade.in_begun_firing or unmade.melts)[0]]
    firing = [melt for melt in open_melts.values() if melt.firing == first.firing]
    raw = series.raw_table(melt.settings for melt in firing)
    scored = score(chain, raw, targets, weight, lift=scores.lift)
    melts = tuple(
        replace(one, firing=melt.firing, planned=melt.melt)
        for one, melt in zip(suggest(chain, scored, range(len(firing))), firing, strict=True)
    )
    ceiling = None if most_risk is None else max(most_risk, max(melt.risk for melt in found))
    many = min(len(melts), len(found), _JOINT)
    pairs = np.vstack([raw[:many], *(melt.raw for melt in found[:many])])
    begun = first.firing == unmade.firing  # its firing is paid already
    prices = np.concatenate([_prices(chain, melts, begun)[:many], _prices(chain, found)[:many]])
    share, error = _share(chain, pairs, prices, targets.raw[:_TARGETS], weight, scores)
    return PlannedNext(
        melts,
        share,
        error,
        tuple(dict.fromkeys(limit.keep for melt in firing for limit in series.broken_limits(melt.settings))),
        ceiling is not None and any(melt.risk > ceiling for melt in melts),
        begun,
        len(unmade.melts) == len(planned),
    )


def _prices(chain: ChainFit, melts: Sequence[Suggestion], begun: bool = False) -> FloatArray:
    """Money expected for each melt in a full firing or in one that has begun; ones where no prices are known."""
    costs = chain.series.costs
    if not costs.known:
        return np.ones(len(melts))
    share = (0.0 if begun else costs.firing / chain.series.kiln.melts_per_firing) - costs.firing / len(melts)
    return np.maximum([melt.cost + share for melt in melts], 1e-9)


def _share(
    chain: ChainFit,
    raw: FloatArray,
    prices: FloatArray,
    settings: FloatArray,
    weight: float,
    scale: Scores,
) -> tuple[float, float]:
    """Worth of the first half of the rows as a share of that of the second half, with its standard error."""
    views, targets = chain_views(chain, raw), chain_views(chain, settings, in_full=False)
    half = len(raw) // 2
    halves = (range(half), range(half, 2 * half))
    lifted = scale.lift * views.success_draws.mean(axis=0)
    worth = np.empty((_BATCHES, 2))
    for part in range(_BATCHES):
        here, aims = views.every(_BATCHES, part), targets.every(_BATCHES, part)
        stages, good = [coarser(stage) for stage in here.stages], here.good_draws(aims)
        worth[part] = [_worth(stages, good, prices, list(rows), weight, scale, lifted) for rows in halves]
    plan, other = worth.mean(axis=0)
    if other <= 0.0:
        return 1.0, 0.0
    difference = worth[:, 0] - worth[:, 1]
    return float(plan / other), float(difference.std(ddof=1) / np.sqrt(_BATCHES) / other)


def _worth(
    stages: Sequence[StageView],
    good: Sequence[GoodDraws],
    prices: FloatArray,
    chosen: list[int],
    weight: float,
    scale: Scores,
    lifted: FloatArray,
) -> float:
    """What some melts of one firing are worth together for the aim, on the scale of the search."""
    told = sum(added_information(stages, chosen[:place])[i] / prices[i] for place, i in enumerate(chosen))
    gain = max(float(expected_gain(good, chosen[:-1])[chosen[-1]]), 0.0) if weight < 1.0 else 0.0
    top_told, top_reach = scale.tops
    return weight * float(told) / top_told + (1.0 - weight) * (gain + float(lifted[chosen].sum())) / top_reach

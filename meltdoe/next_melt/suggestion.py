"""A proposed melt with everything that speaks for and against it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.next_melt.firing_search import Scores, risk_at
from meltdoe.next_melt.firing_set import added_information, coarser
from meltdoe.next_melt.worth import expected_worth
from meltdoe.series.factor import FloatArray, Setting

__all__ = ["Suggestion", "safest", "suggest"]

_SAFER_BY = 0.05  # the chance of a costly failure has to be lower by this much
_SAFER_TIMES = 0.75  # and at most this share of the other


@dataclass(frozen=True, eq=False)  # a repeat of a melt in the same firing is a proposal of its own
class Suggestion:
    """One proposed melt.

    Parameters
    ----------
    chance, low, high : chance that everything that counts is good, with its interval.
    information : nats that the melt is expected to add to those before it in the list.
    share_by_stage : part of the information that each outcome brings, by outcome name.
    gain : expected gain in the best setting's chance.
    cost : money expected, losses included, with an even share of the firing.
    risk : chance of a failure that has a loss to it.
    repeats : melts on record at exactly these settings.
    planned : number of the melt in the plan, or None for one that was searched.
    """

    settings: Mapping[str, Setting]
    raw: FloatArray
    firing: int
    chance: float
    low: float
    high: float
    information: float
    share_by_stage: Mapping[str, float]
    gain: float
    cost: float
    risk: float
    repeats: tuple[int, ...] = ()
    planned: int | None = None


def suggest(chain: ChainFit, scores: Scores, chosen: Sequence[int]) -> tuple[Suggestion, ...]:
    """The chosen candidates of a shortlist as melts of one firing, each for what it adds to those before it."""
    if not len(chosen):
        return ()
    series, log = chain.series, chain.log
    raw = scores.views.raw[list(chosen)]
    firing = 1 + max((entry.firing for entry in log.entries), default=0)
    chances, risk = chain.chance(raw), risk_at(chain, raw)
    share = series.costs.firing / len(chosen)
    worth = expected_worth(series.costs, scores.views.names, scores.views.stages)
    stages = [coarser(stage) for stage in scores.views.stages] if len(chosen) > 1 else []
    found = []
    for place, i in enumerate(chosen):
        alone = scores.by_stage[:, i]
        added = float(added_information(stages, chosen[:place])[i]) if place else float(alone.sum())
        total = float(alone.sum()) or 1.0
        found.append(
            Suggestion(
                settings=series.settings(raw[place]),
                raw=raw[place],
                firing=firing,
                chance=float(chances.mean[place]),
                low=float(chances.low[place]),
                high=float(chances.high[place]),
                information=added,
                share_by_stage={n: float(a) / total for n, a in zip(scores.views.names, alone, strict=True)},
                gain=float(scores.gain[i]),
                cost=float(worth.price[i]) + share,
                risk=float(risk[place]),
                repeats=_made_at(chain, raw[place]),
            )
        )
    return tuple(found)


def _made_at(chain: ChainFit, raw: FloatArray) -> tuple[int, ...]:
    """Melts on record at exactly this setting."""
    log = chain.log
    return tuple(sorted({e.melt for e, row in zip(log.entries, log.raw, strict=True) if np.allclose(row, raw)}))


def safest(chain: ChainFit, scores: Scores, first: Suggestion) -> Suggestion | None:
    """The least risky of the melts that tell at least half as much as the first; None where it is hardly safer."""
    if not any(chain.series.costs.loss.values()):
        return None
    telling = np.flatnonzero(scores.information >= 0.5 * first.information)
    if not len(telling):
        return None
    least = int(telling[np.argmin(scores.risk[telling])])
    if scores.risk[least] > min(first.risk - _SAFER_BY, first.risk * _SAFER_TIMES):
        return None
    return suggest(chain, scores, [least])[0]

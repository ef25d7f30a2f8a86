"""What each result of a melt would lead you to believe: the best setting and its chance after every way it can go.

With independent posteriors a path (failed at stage 1, or at stage 2, ..., or good throughout) weighs the draws of each
stage that it passed by the chance of what was seen there; no refit is needed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.next_melt.gain import GoodDraws, patterns
from meltdoe.series.factor import FloatArray, Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = ["ResultBelief", "believed_after"]

_RARE = 0.005  # chance below which a way to go is not told
_WORTH_MOVING = 0.005  # gain in chance below which the best setting is said to stay
_DRAWN = 2000  # draws of the product over the stages


@dataclass(frozen=True, eq=False)
class ResultBelief:
    """One way the melt can go, and what would be believed then.

    Parameters
    ----------
    failed : the outcomes that would turn out bad; empty where all is good.
    chance : of this way.
    best : the best setting then. best_chance : its chance of success then.
    reaches : chance that it then reaches the target.
    moves : whether that is another setting than today's best.
    """

    failed: tuple[str, ...]
    chance: float
    best: Mapping[str, Setting]
    best_chance: float
    reaches: float
    moves: bool


def believed_after(
    series: MeltSeries, names: Sequence[str], stages: Sequence[GoodDraws], targets: FloatArray, today: int
) -> tuple[ResultBelief, ...]:
    """Every way one melt can go, the earliest failure first.

    Parameters
    ----------
    names : outcome of each stage that counts.
    stages : chance of good by draw at the melt (one candidate) and at the settings that may be recommended.
    targets : (n_targets, n_factors) those settings.
    today : position of today's best setting among them.
    """
    found = []
    for pattern in patterns([stage.after for stage in stages]):
        chance, after = 1.0, np.ones(len(targets))
        weights = []
        for stage, seen in zip(stages, pattern, strict=True):
            good = stage.candidates[:, 0]
            weight = np.ones_like(good) if seen is None else good if seen else 1.0 - good
            chance *= float(weight.mean())
            weights.append(weight / max(float(weight.sum()), 1e-300))
            after *= weights[-1] @ stage.targets
        if chance < _RARE:
            continue
        top = int(np.argmax(after))
        moves = bool(after[top] > after[today] + _WORTH_MOVING)
        best = top if moves else today
        success = np.prod(
            [_evenly(weight, stage.targets[:, best]) for weight, stage in zip(weights, stages, strict=True)], axis=0
        )
        found.append(
            ResultBelief(
                failed=tuple(name for name, seen in zip(names, pattern, strict=True) if seen is False),
                chance=chance,
                best=series.settings(targets[best]),
                best_chance=float(after[best]),
                reaches=float((success >= series.target_chance).mean()),
                moves=moves,
            )
        )
    order = {name: place for place, name in enumerate(names)}
    return tuple(sorted(found, key=lambda way: [order[name] for name in way.failed] or [len(names)]))


def _evenly(weight: FloatArray, values: FloatArray) -> FloatArray:
    """Values taken in proportion to their weights; the draws of two stages stand in orders that know nothing of each
    other, so that what falls together here falls together by chance.
    """
    steps = (np.arange(_DRAWN) + 0.5) / _DRAWN
    return np.asarray(values[np.minimum(np.searchsorted(np.cumsum(weight), steps), len(values) - 1)])

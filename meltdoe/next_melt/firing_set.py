"""Several melts of one firing, chosen jointly: what they teach together, each stage only by those that reach it.

For a set of melts, let R be the subset that reaches stage k. Stage posteriors are independent, so

    I(set) = sum_k sum_R Pr(R reaches k) * I_k(R)
    I_k(R) = H(Y_k on R) - sum_{i in R} mean_s H(P_k[s, x_i, .])

with the joint entropy taken over draws. Pr(R reaches k) follows from the forerunner's distribution over subsets.
Greedy choice is within (1 - 1/e) of the best set, since the joint information is submodular (Nemhauser, Wolsey &
Fisher 1978; Kirsch et al. 2019, arXiv:1906.08158).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np
from scipy.special import entr

from meltdoe.next_melt.information import StageView, entropy
from meltdoe.series.factor import FloatArray

__all__ = ["added_information", "greedy_set", "set_information"]

_MOST_CATEGORIES = 5


def coarser(stage: StageView) -> StageView:
    """Neighbouring categories joined until few are left, good and bad kept apart, so that joint tables stay small."""
    count = stage.probabilities.shape[2]
    if count <= _MOST_CATEGORIES:
        return stage
    mass = stage.probabilities.mean(axis=(0, 1))
    group = np.zeros(count, dtype=int)
    filled, label = 0.0, 0
    for c in range(count):
        switches = c > 0 and stage.good[c] != stage.good[c - 1]
        if c > 0 and (switches or filled >= 1.0 / (_MOST_CATEGORIES - 2)):
            label, filled = label + 1, 0.0
        group[c] = label
        filled += mass[c]
    joined = np.stack([stage.probabilities[:, :, group == g].sum(axis=2) for g in range(label + 1)], axis=2)
    good = np.array([stage.good[group == g][0] for g in range(label + 1)])
    return StageView(joined, good, stage.after, stage.counts)


def _subsets(count: int) -> Iterator[tuple[int, ...]]:
    for flags in product((False, True), repeat=count):
        yield tuple(i for i, flag in enumerate(flags) if flag)


def _joint_draws(stage: StageView, melts: Sequence[int]) -> FloatArray:
    """Joint probability of the outcomes of some melts by draw, shape (n_draws, n_joint)."""
    joint = np.ones((stage.probabilities.shape[0], 1))
    for i in melts:
        joint = (joint[:, :, None] * stage.probabilities[:, i, None, :]).reshape(len(joint), -1)
    return joint


def _good_exactly(good: FloatArray, reached: Sequence[int], kept: Sequence[int]) -> FloatArray:
    """By draw: of the melts that reached a stage, exactly `kept` were good there, shape (n_draws,)."""
    weight = np.ones(good.shape[0])
    for i in reached:
        weight = weight * (good[:, i] if i in kept else 1.0 - good[:, i])
    return weight


def set_information(stages: Sequence[StageView], chosen: Sequence[int]) -> float:
    """Joint staged information of a set of candidates, nats."""
    total, done = 0.0, list[int]()
    for candidate in chosen:
        total += float(added_information(stages, done)[candidate])
        done.append(candidate)
    return total


def added_information(stages: Sequence[StageView], chosen: Sequence[int]) -> FloatArray:
    """Information that each candidate would add to those already chosen, nats, shape (n_candidates,).

    The same candidate may be chosen again: a repeat is a melt like any other.
    """
    n = stages[0].probabilities.shape[1]
    added = np.zeros(n)
    # reach[k][(subset of chosen, new melt in or out)] = chance, an array over candidates
    reach: list[dict[tuple[tuple[int, ...], bool], FloatArray]] = []
    positions = range(len(chosen))
    for stage in stages:
        if stage.after is None:
            reach.append({(tuple(positions), True): np.ones(n)})
        else:
            reach.append(_pass_on(reach[stage.after], stages[stage.after], chosen))
        if not stage.counts:
            continue
        own = entropy(stage.probabilities).mean(axis=0)
        flat = stage.probabilities.reshape(len(stage.probabilities), -1)
        for (subset, new), chance in reach[-1].items():
            if not new or not np.any(chance > 1e-12):
                continue
            joint = _joint_draws(stage, [chosen[i] for i in subset])
            both = (joint.T @ flat) / len(joint)  # (n_joint, n * categories)
            together = entr(both).reshape(both.shape[0], n, -1).sum(axis=(0, 2))
            added += chance * np.maximum(together - float(entr(joint.mean(axis=0)).sum()) - own, 0.0)
    return added


def _pass_on(
    before: dict[tuple[tuple[int, ...], bool], FloatArray], stage: StageView, chosen: Sequence[int]
) -> dict[tuple[tuple[int, ...], bool], FloatArray]:
    """Distribution over the subsets that were good at a stage, from that over those that reached it."""
    good = stage.good_draws
    ours = good[:, list(chosen)]
    after: dict[tuple[tuple[int, ...], bool], FloatArray] = {}
    for (subset, new), chance in before.items():
        for kept_flags in _subsets(len(subset)):
            kept = tuple(subset[i] for i in kept_flags)
            weight = _good_exactly(ours, subset, kept)
            if new:
                with_new = weight @ good / len(weight)
                for key, share in (((kept, True), with_new), ((kept, False), weight.mean() - with_new)):
                    after[key] = after.get(key, 0.0) + chance * share
            else:
                after[kept, False] = after.get((kept, False), 0.0) + chance * weight.mean()
    return after


def greedy_set(
    stages: Sequence[StageView], count: int, price: FloatArray | None = None
) -> tuple[list[int], list[float]]:
    """Choose `count` candidates one after another by added information per price.

    Returns
    -------
    The positions of the candidates and the information that each added, nats.
    """
    views = [coarser(stage) for stage in stages]
    chosen: list[int] = []
    gains: list[float] = []
    for _ in range(count):
        added = added_information(views, chosen)
        best = int(np.argmax(added if price is None else added / price))
        chosen.append(best)
        gains.append(float(added[best]))
    return chosen, gains

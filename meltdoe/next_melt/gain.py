"""Expected gain in the chance of the best setting after the melt's possible outcomes.

    V(x) = sum_path Pr(path | x) max_x' E[ p(x') | path ] - max_x' E[ p(x') ]

A path says how far the melt got: it failed at stage 1, or at stage 2, ..., or was good throughout. With independent
posteriors the new expectation factorises over the stages, each factor a reweighting of that stage's draws by the
likelihood of what was seen there: E[p_k(x') | good at x] = mean_s g_k[s, x] g_k[s, x'] / mean_s g_k[s, x], one matrix
product a stage (knowledge gradient: Frazier, Powell & Dayanik 2008, SIAM J. Control Optim. 47; for pass/fail outcomes
Wang, Wang & Powell 2016). For a set of melts the paths of those already chosen are enumerated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.series.factor import FloatArray

__all__ = ["GoodDraws", "expected_gain", "most_that_could_be_gained", "patterns"]


@dataclass(frozen=True, eq=False)
class GoodDraws:
    """Chance of good at one stage that counts, by draw.

    Parameters
    ----------
    candidates : (n_draws, n_candidates).
    targets : (n_draws, n_targets), at the settings that may be recommended.
    after : position of the forerunner in the list, or None.
    """

    candidates: FloatArray
    targets: FloatArray
    after: int | None


def expected_gain(stages: Sequence[GoodDraws], chosen: Sequence[int] = ()) -> FloatArray:
    """Gain in the best chance expected from each candidate, made together with those chosen, shape (n_candidates,).

    Non-negative up to Monte Carlo error; the value with `chosen` includes what the chosen ones bring.
    """
    draws = stages[0].candidates.shape[0]
    even = [np.ones(draws) for _ in stages]
    before = _product([stage.targets.mean(axis=0) for stage in stages]).max()
    total = np.zeros(stages[0].candidates.shape[1])
    for weights, chance in _paths(stages, chosen, even, 1.0):
        total += chance * _best_after(stages, weights)
    return np.asarray(total - before)


def most_that_could_be_gained(stages: Sequence[GoodDraws]) -> float:
    """Gain in the best chance if everything were known: mean_s max_x' p_s(x') - max_x' mean_s p_s(x')."""
    success = _product([stage.targets for stage in stages])
    return float(success.max(axis=1).mean() - success.mean(axis=0).max())


def _product(parts: Sequence[FloatArray]) -> FloatArray:
    result = parts[0].copy()
    for part in parts[1:]:
        result *= part
    return result


def _paths(
    stages: Sequence[GoodDraws], chosen: Sequence[int], weights: list[FloatArray], chance: float
) -> list[tuple[list[FloatArray], float]]:
    """All joint paths of the chosen melts: weights on the draws of every stage, and the chance of the path."""
    if not chosen:
        return [(weights, chance)]
    found: list[tuple[list[FloatArray], float]] = []
    _walk(stages, chosen, weights, chance, 0, {}, found)
    return found


def _walk(
    stages: Sequence[GoodDraws],
    chosen: Sequence[int],
    weights: list[FloatArray],
    chance: float,
    k: int,
    good: dict[int, bool],
    found: list[tuple[list[FloatArray], float]],
) -> None:
    if chance < 1e-6:
        return
    if k == len(stages):
        found.extend(_paths(stages, chosen[1:], weights, chance))
        return
    after = stages[k].after
    if after is not None and not good.get(after, False):
        _walk(stages, chosen, weights, chance, k + 1, good, found)
        return
    g = stages[k].candidates[:, chosen[0]]
    for seen, likelihood in ((True, g), (False, 1.0 - g)):
        updated = weights[k] * likelihood
        share = float(updated.mean() / weights[k].mean())
        if share > 0.0:
            new = [updated if j == k else weight for j, weight in enumerate(weights)]
            _walk(stages, chosen, new, chance * share, k + 1, {**good, k: seen}, found)


def _best_after(stages: Sequence[GoodDraws], weights: Sequence[FloatArray]) -> FloatArray:
    """Expected best chance after one more melt at each candidate, given weighted draws, shape (n_candidates,)."""
    scale = [weight / weight.sum() for weight in weights]
    unseen, good, bad, p_good = [], [], [], []
    for stage, w in zip(stages, scale, strict=True):
        average = w @ stage.targets  # (n_targets,)
        hit = (stage.candidates * w[:, None]).T @ stage.targets  # (n_candidates, n_targets)
        p = np.clip(w @ stage.candidates, 1e-12, 1.0 - 1e-12)[:, None]
        unseen.append(average)
        good.append(hit / p)
        bad.append((average - hit) / (1.0 - p))
        p_good.append(p[:, 0])
    total = np.zeros(stages[0].candidates.shape[1])
    for pattern in patterns([stage.after for stage in stages]):
        chance = np.ones_like(total)
        after = np.ones((len(total), stages[0].targets.shape[1]))
        for k, seen in enumerate(pattern):
            if seen is None:
                after *= unseen[k]
            else:
                after *= good[k] if seen else bad[k]
                chance *= p_good[k] if seen else 1.0 - p_good[k]
        total += chance * after.max(axis=1)
    return total


def patterns(after: Sequence[int | None]) -> list[tuple[bool | None, ...]]:
    """All ways one melt can go: good, bad or not reached (None) at each stage.

    Parameters
    ----------
    after : position of each stage's forerunner, or None.
    """
    ways: list[tuple[bool | None, ...]] = [()]
    for forerunner in after:
        longer: list[tuple[bool | None, ...]] = []
        for way in ways:
            reached = forerunner is None or way[forerunner] is True
            longer += [(*way, True), (*way, False)] if reached else [(*way, None)]
        ways = longer
    return ways

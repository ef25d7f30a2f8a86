"""The starts of coordinate exchange: drawn at random, improved, disturbed, polished; the best are kept.

What makes a design better is settled in `meltdoe.plans.optimal.exchange_search`; here is how many are tried and from
where. Work is counted, not time, so that the same inputs give the same design on any machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.plans.optimal.exchange_search import Batch, Levels, Setting
from meltdoe.plans.optimal.feasible_settings import random_designs
from meltdoe.plans.optimal.model_matrix import Categorical, Continuous, FloatArray

__all__ = ["Found", "search"]

_STARTS = 64
_POOL = 16  # designs that are disturbed and polished
_CHILDREN = 4
_GENERATIONS = 2
_WORK = 25_000  # runs * factors * terms^2 of a round of _STARTS that takes about a second
_ROUNDS = 6
_SWEEPS = 30
_POLISH_SWEEPS = 8  # per step: along a ridge progress is slow, and the next step goes on from there
_STEPS = (0.3, 0.011, 0.0004, 1.5e-5)  # of the polish, each a 27th of the one before
_ENOUGH_HITS = 10
_SAME = 1e-5  # relative: designs of equal value


@dataclass(frozen=True, eq=False)
class Found:
    """What a search ended with.

    Parameters
    ----------
    tables : (m, runs, k) the best designs of different value, best first.
    starts : random starts made.  hits : how many of them led to the best value.
    """

    tables: FloatArray
    starts: int
    hits: int


def search(setting: Setting, runs: int, effort: float, rng: np.random.Generator) -> Found:
    """Rounds of starts until enough of them led to the best value."""
    factors = setting.model.factors
    coarse = [_coarse_levels(setting, j) for j in range(len(factors))]
    fine = any(
        isinstance(factor, Continuous) and (factor.levels is None or len(factor.levels) > len(grid))
        for factor, grid in zip(factors, coarse, strict=True)
    )
    work = runs * len(factors) * setting.model.width**2 / _WORK * (1 if setting.weight is None else 2)
    count = max(_POOL, round(_STARTS * min(1.0, effort, work**-0.5)))
    children_each = max(1, round(_CHILDREN * min(1.0, 2.0 * effort)))
    rounds = max(1, round(effort * min(_ROUNDS, max(1.0, 1.0 / work))))

    def draw(size: int) -> FloatArray:
        return random_designs(factors, setting.limits, runs, setting.firings, size, rng)

    def on_grid(j: int, _now: FloatArray) -> FloatArray:
        return coarse[j]

    ends = _Pool.empty(setting, runs)
    for done in range(1, rounds + 1):
        batch = Batch(setting, draw(count))
        _descend(batch, on_grid)
        pool = _Pool.empty(setting, runs).joined(batch, [frozenset([done * count + s]) for s in range(count)])
        for generation in range(_GENERATIONS):
            if not fine and generation and pool.hits() >= _ENOUGH_HITS:
                break
            parents = np.arange(children_each * len(pool.origins)) // children_each
            children = _disturbed(setting, pool.batch.raw[parents], draw(len(parents)), rng)
            batch = Batch(setting, children)
            _descend(batch, on_grid)
            pool = pool.joined(batch, [pool.origins[parent] for parent in parents])
        ends = ends.joined(*pool.polished(fine))
        if ends.hits() >= _ENOUGH_HITS:
            break
    return Found(ends.batch.raw, done * count, ends.hits())


@dataclass(frozen=True, eq=False)
class _Pool:
    """The best designs of different value, best first, with the starts that led to each."""

    batch: Batch
    values: FloatArray
    origins: list[frozenset[int]]

    @classmethod
    def empty(cls, setting: Setting, runs: int) -> _Pool:
        return cls(Batch(setting, np.empty((0, runs, len(setting.model.factors)))), np.empty(0), [])

    def joined(self, batch: Batch, origins: list[frozenset[int]]) -> _Pool:
        """This pool and more designs, the best `_POOL` of different value; equal ones share their starts."""
        raw = np.concatenate([self.batch.raw, batch.raw])
        values = np.concatenate([self.values, batch.values()])
        starts = self.origins + origins
        kept: list[int] = []
        led: list[frozenset[int]] = []
        for i in np.argsort(-values, kind="stable").tolist():
            if kept and values[kept[-1]] - values[i] <= _same(batch.setting, values[kept[-1]]):
                led[-1] |= starts[i]
            elif len(kept) < _POOL:
                kept.append(i)
                led.append(starts[i])
            else:
                break
        return _Pool(Batch(batch.setting, raw[kept]), values[kept], led)

    def polished(self, fine: bool) -> tuple[Batch, list[frozenset[int]]]:
        """The designs after smaller and smaller steps of every continuous coordinate."""
        batch = self.batch.take(np.arange(len(self.origins)))
        if fine:
            for step in _STEPS:
                _descend(batch, _nearby(batch.setting, step), _POLISH_SWEEPS, _movable(batch.setting, step))
        return batch, self.origins

    def hits(self) -> int:
        return len(self.origins[0])


def _same(setting: Setting, value: float) -> float:
    """Difference below which two values count as equal."""
    return setting.model.width * _SAME if setting.weight is None else abs(value) * _SAME


def _movable(setting: Setting, step: float) -> list[int]:
    """The factors that a step can move: not those whose levels lie further apart."""
    return [
        j
        for j, factor in enumerate(setting.model.factors)
        if isinstance(factor, Categorical)
        or factor.levels is None
        or float(np.diff(factor.levels).min()) < 2.0 * step + 1e-12
    ]


def _descend(batch: Batch, levels: Levels, sweeps: int = _SWEEPS, factors: Sequence[int] | None = None) -> None:
    """Sweep until no design of the batch changes; designs that stand still are left out.

    Parameters
    ----------
    factors : places of the factors to move; all where None.
    """
    active = np.arange(len(batch.raw))
    for _ in range(sweeps):
        part = batch.take(active)
        changed = part.sweep(levels, factors)
        batch.put(active, part)
        active = active[changed]
        if not len(active):
            return


def _nearby(setting: Setting, step: float) -> Levels:
    """Candidate levels around the present one: three sizes at once, since a sweep costs little more for it."""
    offsets = step * np.array([-1.0, -1 / 3, -1 / 9, 1 / 9, 1 / 3, 1.0])

    def levels(j: int, now: FloatArray) -> FloatArray:
        factor = setting.model.factors[j]
        if isinstance(factor, Categorical):
            return np.arange(factor.levels, dtype=float)
        trial = np.minimum(np.maximum(now[:, None] + offsets, -1.0), 1.0)
        if factor.levels is None:
            return trial
        allowed = np.asarray(factor.levels, dtype=float)
        return np.asarray(allowed[np.abs(trial[..., None] - allowed).argmin(axis=-1)])

    return levels


def _disturbed(setting: Setting, raw: FloatArray, fresh: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Each design with one firing, or a sixth of its runs, taken from a fresh random design."""
    children = raw.copy()
    runs = raw.shape[1]
    for s in range(len(raw)):
        if setting.firings:
            members = setting.firings[int(rng.integers(len(setting.firings)))]
        else:
            members = rng.permutation(runs)[: max(1, runs // 6)]
        children[s, members] = fresh[s, members]
    return children


def _coarse_levels(setting: Setting, j: int) -> FloatArray:
    """Levels of the first exchange: ends for a linear factor, three for a quadratic one, more with limits."""
    factor = setting.model.factors[j]
    if isinstance(factor, Categorical):
        return np.arange(factor.levels, dtype=float)
    count = {1: 2, 2: 3}.get(setting.model.highest_power(j), 7)
    if setting.limits:
        count = max(count, 5)
    if factor.levels is None:
        return np.linspace(-1.0, 1.0, count)
    allowed = np.asarray(factor.levels, dtype=float)
    if len(allowed) <= 7:
        return allowed
    return np.asarray(allowed[np.unique(np.rint(np.linspace(0, len(allowed) - 1, count)).astype(int))])

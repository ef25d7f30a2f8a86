"""Exact optimal designs by coordinate exchange with continuous polish from many starts.

Meyer and Nachtsheim (1995), Technometrics 37, 60-69 (coordinate exchange); Jones and Goos (2007), Appl. Statist. 56
(firings as whole plots); DuMouchel and Jones (1994), Technometrics 36, 37-47 (prior precision for potential terms,
fewer runs than terms). Random starts exchange coordinates over a coarse grid of levels until nothing improves; the
best are then disturbed (a firing or a sixth of the runs drawn anew) and improved again, and at last polished by
ever smaller steps. The best of all is kept. Nothing is proven optimal: `hits` says how many independent starts led
there.

Criteria, with M = X'X (or its whole-plot form) + information of existing runs + prior precision:
D makes |M| large; A makes tr M^-1 small; I makes the variance of prediction, averaged over the region, small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from meltdoe.errors import Inestimable
from meltdoe.plans.aliasing import indistinguishable
from meltdoe.plans.exchange_search import Batch, Levels, Setting, information
from meltdoe.plans.feasible_settings import random_designs
from meltdoe.plans.model_matrix import (
    Categorical,
    Continuous,
    DesignFactor,
    FloatArray,
    Limit,
    Model,
    Terms,
    region_moments,
)

__all__ = ["Categorical", "Continuous", "Criterion", "ExactDesign", "exchange"]

Criterion: TypeAlias = Literal["D", "A", "I"]
IntArray = npt.NDArray[np.int64]

_RIDGE = 1e-6
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
class ExactDesign:
    """An exact design and how it was found.

    Parameters
    ----------
    table : (runs, k) raw settings of the new runs, firing by firing.
    criterion : value of the criterion: D gives 100 |M|^(1/p) / n in per cent (n counts existing runs too), A gives tr
        M^-1, I gives the average variance of prediction over the region, for sigma = 1.
    optimal_for : "D", "A" or "I".
    log_det : log |M|, with existing runs and prior precision.
    starts : how many random starts were made.
    hits : how many of them led to this value; several are a fair sign, never a proof.
    """

    table: FloatArray
    criterion: float
    optimal_for: Criterion
    log_det: float
    starts: int
    hits: int


def exchange(
    factors: Sequence[DesignFactor],
    terms: Terms,
    runs: int,
    criterion: Criterion = "D",
    *,
    firings: Sequence[int] | None = None,
    eta: float = 1.0,
    limits: Sequence[Limit] = (),
    existing: npt.ArrayLike | None = None,
    existing_firings: Sequence[int] | None = None,
    prior_precision: npt.ArrayLike | None = None,
    effort: float = 1.0,
    seed: int = 0,
) -> ExactDesign:
    """The best exact design found for a model.

    Parameters
    ----------
    factors : `Continuous` and `Categorical` factors, in the order of the raw columns.
    terms : tuples of exponents, one per factor (all zeros is the constant), or a function from raw settings (n, k) to
        model rows (n, p).
    runs : number of new runs.
    criterion : "D", "A" or "I".
    firings : numbers of new runs in each firing, in order; factors with `per_firing` then are shared within each.
        None where every run is its own.
    eta : variance between firings over variance between runs of one firing.
    limits : functions from raw settings (n, k) to True where the setting may be run; apply to new runs only.
    existing : (m, k) raw settings already run and kept.
    existing_firings : numbers of existing runs in each firing, in order.
    prior_precision : (p,) or (p, p) prior precision of the terms: 0 for terms that must be estimated, 1/tau^2 for
        potential ones. Allows fewer runs than terms.
    effort : multiplies the number of starts; 1 keeps designs of up to about 24 runs and 18 terms near a second.
    seed : seed of the starts; the same inputs and seed give the same design.

    Raises
    ------
    ValueError
        Where the arguments do not fit together, or no setting satisfies the limits.
    Inestimable
        Where there are fewer runs than terms and no prior, or the runs cannot tell all terms apart.
    """
    model = Model(factors, terms)
    kept = _existing_rows(model, existing)
    prior = _prior(model, prior_precision)
    total = runs + len(kept)
    if runs < 1:
        raise ValueError(f"a design needs at least one new run, got {runs}")
    if criterion not in ("D", "A", "I"):
        raise ValueError(f'the criterion must be "D", "A" or "I", got {criterion!r}')
    if total + np.linalg.matrix_rank(prior) < model.width:
        raise Inestimable(
            f"{total} runs cannot estimate {model.width} terms; take at least {model.width} runs, leave terms out, "
            "or give the doubtful ones a prior precision",
            model.names,
        )
    fixed = prior + information(model.rows(kept), *_grouping(existing_firings, len(kept), eta, "existing "))
    groups, shrink = _grouping(firings, runs, eta, "")
    weight = None
    if criterion == "A":
        weight = np.eye(model.width)
    elif criterion == "I":
        weight = region_moments(model, limits)
    setting = Setting(model, tuple(limits), groups, shrink, fixed + _RIDGE * np.eye(model.width), weight)
    table, starts, hits = _search(setting, runs, effort, np.random.default_rng(seed))

    M = fixed + information(model.rows(table), groups, shrink)
    if np.linalg.cond(M) > 1e12:
        root = np.sqrt(np.maximum(np.diag(prior), 0.0))  # a term with prior precision is told apart by its prior
        rows = np.vstack([model.rows(table), model.rows(kept), np.diag(root)])
        tied = indistinguishable(rows, model.names)
        said = "; ".join(" and ".join(group) for group in tied)
        raise Inestimable(
            f"no {total} runs were found that tell apart: {said}", tuple(n for group in tied for n in group)
        )
    log_det = float(np.linalg.slogdet(M)[1])
    if weight is None:
        shown = 100.0 * float(np.exp(log_det / model.width)) / total
    else:
        shown = float(np.trace(weight @ np.linalg.inv(M)))
    return ExactDesign(table, shown, criterion, log_det, starts, hits)


def _search(setting: Setting, runs: int, effort: float, rng: np.random.Generator) -> tuple[FloatArray, int, int]:
    """Rounds of starts until enough of them led to the best value; best raw table, starts, hits.

    Work is counted, not time, so that the same inputs give the same design on any machine.
    """
    factors = setting.model.factors
    coarse = [_coarse_levels(setting, j) for j in range(len(factors))]
    fine = any(
        isinstance(factor, Continuous) and (factor.levels is None or len(factor.levels) > len(grid))
        for factor, grid in zip(factors, coarse, strict=True)
    )
    work = runs * len(factors) * setting.model.width**2 / _WORK * (1 if setting.weight is None else 2)
    count = max(_POOL, round(_STARTS * min(1.0, effort, work**-0.5)))
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
            parents = np.arange(_CHILDREN * len(pool.origins)) // _CHILDREN
            children = _disturbed(setting, pool.batch.raw[parents], draw(len(parents)), rng)
            batch = Batch(setting, children)
            _descend(batch, on_grid)
            pool = pool.joined(batch, [pool.origins[parent] for parent in parents])
        ends = ends.joined(*pool.polished(fine))
        if ends.hits() >= _ENOUGH_HITS:
            break
    return ends.batch.raw[0], done * count, ends.hits()


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
                _descend(batch, _nearby(batch.setting, step), _POLISH_SWEEPS)
        return batch, self.origins

    def hits(self) -> int:
        return len(self.origins[0])


def _same(setting: Setting, value: float) -> float:
    """Difference below which two values count as equal."""
    return setting.model.width * _SAME if setting.weight is None else abs(value) * _SAME


def _descend(batch: Batch, levels: Levels, sweeps: int = _SWEEPS) -> None:
    """Sweep until no design of the batch changes; designs that stand still are left out."""
    active = np.arange(len(batch.raw))
    for _ in range(sweeps):
        part = batch.take(active)
        changed = part.sweep(levels)
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


def _grouping(
    sizes: Sequence[int] | None, runs: int, eta: float, which: str
) -> tuple[tuple[IntArray, ...], FloatArray]:
    """Row numbers of each firing and c_w = eta / (1 + m_w eta)."""
    if sizes is None:
        return (), np.empty(0)
    if min(sizes, default=1) < 1 or sum(sizes) != runs:
        raise ValueError(f"the {which}firings hold {list(sizes)}, which does not sum to {runs} runs")
    if not eta >= 0:
        raise ValueError(f"eta is a ratio of variances and cannot be {eta}")
    ends = np.cumsum(sizes)
    groups = tuple(np.arange(end - size, end) for size, end in zip(sizes, ends, strict=True))
    return groups, np.array([eta / (1.0 + size * eta) for size in sizes])


def _existing_rows(model: Model, existing: npt.ArrayLike | None) -> FloatArray:
    k = len(model.factors)
    kept = np.empty((0, k)) if existing is None else np.atleast_2d(np.asarray(existing, dtype=float))
    if kept.shape[1] != k:
        raise ValueError(f"existing runs need {k} columns, one per factor, got {kept.shape[1]}")
    return kept


def _prior(model: Model, prior_precision: npt.ArrayLike | None) -> FloatArray:
    if prior_precision is None:
        return np.zeros((model.width, model.width))
    given = np.asarray(prior_precision, dtype=float)
    precision = np.diag(given) if given.ndim == 1 else given
    if precision.shape != (model.width, model.width):
        raise ValueError(
            f"the prior precision must have one value per column of the model, {model.width}, got {given.shape}"
        )
    return precision

"""Random settings within the ranges and limits, the starts of design search.

Settings are drawn uniformly and kept where every limit holds. Where limits leave little room, those found are spread
by a walk that redraws one coordinate at a time (coordinate hit-and-run; Smith 1984, Oper. Res. 32, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from meltdoe.plans.optimal.model_matrix import Categorical, DesignFactor, FloatArray, Limit, feasible

__all__ = ["random_designs", "random_settings"]

IntArray = npt.NDArray[np.int64]

_ATTEMPTS = 20
_ENOUGH = 8
_STEPS = 4


def random_designs(
    factors: Sequence[DesignFactor],
    limits: Sequence[Limit],
    runs: int,
    firings: Sequence[IntArray],
    count: int,
    rng: np.random.Generator,
) -> FloatArray:
    """Random feasible designs, shape (count, runs, k); settings per firing are shared within each firing."""
    raw = random_settings(factors, limits, count * runs, rng).reshape(count, runs, len(factors))
    free = [j for j, factor in enumerate(factors) if not factor.per_firing]
    if not firings or len(free) == len(factors):
        return raw
    for members in firings:
        raw[:, members] = raw[:, members[:1]]
    flat = raw.reshape(count * runs, -1)
    _walk(factors, limits, flat, free, rng)
    return flat.reshape(count, runs, -1)


def random_settings(
    factors: Sequence[DesignFactor], limits: Sequence[Limit], count: int, rng: np.random.Generator
) -> FloatArray:
    """Raw settings that satisfy every limit, shape (count, k).

    Raises
    ------
    ValueError
        Where none was found.
    """
    found = np.empty((0, len(factors)))
    for attempt in range(_ATTEMPTS):
        # a region so narrow that a first look misses it is looked for in earnest
        raw = _uniform(factors, max(2 * count, 4096 if attempt < _ATTEMPTS // 2 else 100_000), rng)
        found = np.vstack([found, raw[feasible(limits, raw)]])
        if len(found) >= count:
            return found[:count]
        if attempt >= _ATTEMPTS // 2 and len(found) >= _ENOUGH:
            break
    if not len(found):
        raise ValueError("no setting within the ranges satisfies every limit; widen a range or loosen a limit")
    rows = found[rng.integers(len(found), size=count)]
    _walk(factors, limits, rows, range(len(factors)), rng)
    return rows


def _uniform(factors: Sequence[DesignFactor], count: int, rng: np.random.Generator) -> FloatArray:
    columns: list[FloatArray] = []
    for factor in factors:
        if isinstance(factor, Categorical):
            columns.append(rng.integers(factor.levels, size=count).astype(float))
        elif factor.levels is not None:
            columns.append(rng.choice(np.asarray(factor.levels, dtype=float), size=count))
        else:
            columns.append(rng.uniform(-1.0, 1.0, size=count))
    return np.stack(columns, axis=1)


def _walk(
    factors: Sequence[DesignFactor],
    limits: Sequence[Limit],
    rows: FloatArray,
    free: Sequence[int],
    rng: np.random.Generator,
) -> None:
    """Redraw one coordinate after another in place, keeping each redraw that stays within the limits."""
    for _ in range(_STEPS):
        for j in free:
            trial = rows.copy()
            trial[:, j] = _uniform(factors, len(rows), rng)[:, j]
            good = feasible(limits, trial)
            rows[good, j] = trial[good, j]

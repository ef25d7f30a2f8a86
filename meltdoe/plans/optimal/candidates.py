"""Settings that could be tried: on their steps, within their ranges, keeping every limit.

Where there are few combinations all are listed. Otherwise they are drawn from the sequence of fractional parts of
n * sqrt(prime_j), shifted at random, which fills the cube evenly (Richtmyer 1951; Niederreiter 1978, Bull. Amer. Math.
Soc. 84, from memory), even in the coded scale of each factor.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series.factor import Amount, Factor, FloatArray, Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = ["candidate_settings", "corners", "settable_values"]

_PRIMES = np.array([2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71], dtype=float)
_MOST_CORNERS = 512
_MOST_DRAWN = 400_000
_MOST_LISTED = 1_000_000
_FINE = 2001  # values of such an amount where no round number keeps the limits
_PARTS = 50  # of the range of an amount without steps, at least
_ENOUGH = 0.8  # share of the wanted number below which drawing is helped out by listing


def candidate_settings(
    series: MeltSeries, count: int = 4000, seed: int = 1, per_firing: Mapping[str, Setting] | None = None
) -> FloatArray:
    """At most `count` different settings that keep every limit.

    Parameters
    ----------
    count : how many are wanted; all there are where the steps allow no more. The middle and (up to an eighth of
        `count`) the corners of the region come first, where the limits allow them.
    per_firing : settings already decided, for example those of a firing that the melt is to join.

    Returns
    -------
    (n, n_factors) raw settings without repeats, n <= count.

    Raises
    ------
    PlanImpossible
        Where no setting was found that keeps the limits.
    """
    fixed = _fixed(series, per_firing or {})
    levels = [
        np.array([fixed[i]]) if i in fixed else settable_values(factor) for i, factor in enumerate(series.factors)
    ]
    combinations = _combinations(levels)
    if combinations <= max(count, 1):
        found = _listed(series, levels)
    else:
        found = _drawn(series, levels, count, seed)
        if len(found) < _ENOUGH * count and combinations <= _MOST_LISTED:
            found = np.vstack([found, _thinned(series, levels, count, seed)])
    if not len(found) and any(isinstance(f, Amount) and f.step is None for f in series.factors):
        finely = [
            factor.grid(_FINE) if isinstance(factor, Amount) and factor.step is None and i not in fixed else levels[i]
            for i, factor in enumerate(series.factors)
        ]
        found = _drawn(series, finely, count, seed)  # limits that leave less than the round numbers reach
    middle = np.array([fixed.get(i, value) for i, value in enumerate(_middle(series))])
    ends = corners(series, fixed)
    if len(ends) > count // 8:
        ends = ends[np.random.default_rng(seed).permutation(len(ends))[: count // 8]]
    special = np.vstack([middle, ends])
    found = _without_repeats(np.vstack([special[series.allowed(special)], found]))[:count]
    if not len(found):
        reasons = ", ".join(f'"{limit.keep}"' for limit in series.limits)
        raise PlanImpossible(f"no setting keeps the limits {reasons}", "widen a factor's range or ease a limit")
    return found


def settable_values(factor: Factor) -> FloatArray:
    """The values that a proposal may take, ascending: the steps or options; round numbers where an amount has no step.

    Round numbers are the multiples of 1, 2 or 5 times a power of ten that cut the range into 50 to 125 parts; on a
    logarithmic scale over more than one doubling, numbers of two digits. Both ends are kept.
    """
    if not isinstance(factor, Amount) or factor.step is not None:
        return factor.grid()
    low, high = factor.low, factor.high
    if factor.scale == "log" and high > 2.0 * low:
        powers = range(math.floor(math.log10(low)), math.floor(math.log10(high)) + 1)
        values = np.concatenate([np.arange(10, 100) * 10.0 ** (power - 1) for power in powers])
    else:
        power = 10.0 ** math.floor(math.log10((high - low) / _PARTS))
        step = max(size * power for size in (1, 2, 5) if size * power <= (high - low) / _PARTS * (1 + 1e-9))
        values = step * np.arange(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)
    digits = 12 - math.ceil(math.log10(max(abs(low), abs(high))))
    values = np.round(values, digits)  # what a product with a step leaves behind the last digit
    return np.unique(np.concatenate([[low], values[(values > low) & (values < high)], [high]]))


def corners(series: MeltSeries, fixed: Mapping[int, float] | None = None) -> FloatArray:
    """Ends of every amount with every option of the others, whether or not they keep the limits; at most 512.

    Parameters
    ----------
    fixed : raw value by position, for factors that stand still.
    """
    held = fixed or {}
    levels = [
        np.array([held[i]]) if i in held else np.array([f.low, f.high]) if isinstance(f, Amount) else f.grid()
        for i, f in enumerate(series.factors)
    ]
    total = int(np.prod([len(grid) for grid in levels], dtype=object))
    index = np.arange(total) if total <= _MOST_CORNERS else np.linspace(0, total - 1, _MOST_CORNERS).astype(np.int64)
    return _unravel(index, levels)


def _fixed(series: MeltSeries, settings: Mapping[str, Setting]) -> dict[int, float]:
    row = series.raw(settings)
    return {i: float(value) for i, value in enumerate(row) if not np.isnan(value)}


def _middle(series: MeltSeries) -> FloatArray:
    centre = series.coding.centre()
    nearest = []
    for i, factor in enumerate(series.factors):
        values = settable_values(factor)
        nearest.append(float(values[np.abs(values - float(factor.snap(centre[i : i + 1])[0])).argmin()]))
    return np.array(nearest)


def _combinations(levels: list[FloatArray]) -> float:
    return float(np.prod([float(len(grid)) for grid in levels]))


def _unravel(index: npt.NDArray[np.int64], levels: list[FloatArray]) -> FloatArray:
    """Rows of the full grid by number, the last factor changing fastest."""
    columns = []
    for grid in reversed(levels):
        index, digit = np.divmod(index, len(grid))
        columns.append(grid[digit])
    return np.column_stack(columns[::-1])


def _listed(series: MeltSeries, levels: list[FloatArray]) -> FloatArray:
    raw = _unravel(np.arange(int(np.prod([len(grid) for grid in levels]))), levels)
    return raw[series.allowed(raw)]


def _thinned(series: MeltSeries, levels: list[FloatArray], count: int, seed: int) -> FloatArray:
    """A random part of the full list: for limits that leave so little that drawing rarely hits it."""
    listed = _listed(series, levels)
    return listed[np.random.default_rng(seed).permutation(len(listed))[:count]]


def _drawn(series: MeltSeries, levels: list[FloatArray], count: int, seed: int) -> FloatArray:
    rng = np.random.default_rng(seed)
    slope = np.sqrt(_PRIMES[: len(levels)]) if len(levels) <= len(_PRIMES) else rng.random(len(levels))
    shift = rng.random(len(levels))
    found: list[FloatArray] = []
    kept, drawn = 0, 0
    while kept < count and drawn < _MOST_DRAWN:
        share = max(kept / drawn, 0.02) if drawn else 1.0
        more = min(int(1.1 * (count - kept) / share) + 16, _MOST_DRAWN - drawn)
        even = (np.arange(drawn + 1, drawn + 1 + more)[:, None] * slope + shift) % 1.0
        raw = np.column_stack([
            _from_even(factor, grid, even[:, i])
            for i, (factor, grid) in enumerate(zip(series.factors, levels, strict=True))
        ])  # fmt: skip
        found.append(raw[series.allowed(raw)])
        kept, drawn = kept + len(found[-1]), drawn + more
    return _without_repeats(np.vstack(found))


def _from_even(factor: Factor, grid: FloatArray, even: FloatArray) -> FloatArray:
    """Numbers in 0..1 to raw values, even in the coded scale; each value on the steps takes an equal share there."""
    if len(grid) == 1 or not isinstance(factor, Amount) or factor.scale == "linear":
        return np.asarray(grid[np.minimum((even * len(grid)).astype(np.int64), len(grid) - 1)])
    coded = factor.coded(grid)
    inner = (coded[1:] + coded[:-1]) / 2.0
    low, high = 2.0 * coded[0] - inner[0], 2.0 * coded[-1] - inner[-1]
    return np.asarray(grid[np.searchsorted(inner, low + even * (high - low))])


def _without_repeats(raw: FloatArray) -> FloatArray:
    """The first of each set of equal rows, in the order given."""
    if len(raw) < 2:
        return raw
    # one number per row: different rows agree in a random weighting of their columns with chance about 1e-12
    weights = np.random.default_rng(raw.shape[1]).random((1, raw.shape[1]))[0]
    mark = np.zeros(len(raw))
    for i, weight in enumerate(weights):
        mark += raw[:, i] * weight
    _, first = np.unique(mark, return_index=True)
    return raw[np.sort(first)]

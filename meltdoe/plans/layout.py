"""From a table of settings to firings and the order of the work.

Melts with the same per-firing settings form a group, and each group is fired in as few firings as its size allows.
Within the groups the melts are dealt out so that the firings are as alike as they can be in the other factors: minimise

    sum over columns c of ( sum over firings f of |sum over melts i in f of z_ic|^2 / size_f )^2 ,

with z the coded factors and, at a quarter of the weight, their products, centred within the group. What stands in the
inner brackets is what differences between firings carry of an effect (firings as blocks: Fisher 1935); its square keeps
any one effect from carrying it all. Pairs are exchanged from random starts. The order of firings, and of melts within
each, is random.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
import numpy.typing as npt

from meltdoe.series.coding import Coding
from meltdoe.series.factor import FloatArray
from meltdoe.series.terms import cross_terms, main_terms

__all__ = ["Layout", "balanced_columns", "deal", "even_sizes", "firings_needed", "group_numbers", "lay_out"]

IntArray = npt.NDArray[np.int64]

_STARTS = 8
_PASSES = 20
_PRODUCT_WEIGHT = 0.5  # on the columns; a quarter in the sum of squares


@dataclass(frozen=True, eq=False)
class Layout:
    """Rows of a table in the order of the work.

    Parameters
    ----------
    order : row numbers of the table in the order of the work, shape (n_melts,).
    firing : firing of each melt in that order, counted from 0, never falling.
    """

    order: IntArray
    firing: IntArray


def even_sizes(count: int, firings: int) -> tuple[int, ...]:
    """Sizes of `firings` firings of `count` melts that differ by at most one, largest first."""
    return tuple(count // firings + (i < count % firings) for i in range(firings))


def group_numbers(raw: FloatArray, per_firing: tuple[int, ...]) -> IntArray:
    """Number of the group of equal per-firing settings for each row, in order of first appearance."""
    _, first, inverse = np.unique(raw[:, list(per_firing)], axis=0, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return np.asarray(rank[inverse.ravel()])


def firings_needed(groups: IntArray, melts_per_firing: int) -> int:
    """Fewest firings that hold groups of melts that may not share a firing with another group."""
    return int(sum(ceil(size / melts_per_firing) for size in np.bincount(groups) if size))


def lay_out(
    raw: FloatArray, coding: Coding, melts_per_firing: int, groups: IntArray, rng: np.random.Generator
) -> Layout:
    """Deal the melts of a table out to firings and put both in random order.

    Parameters
    ----------
    raw : (n_melts, n_factors) raw settings.
    groups : (n_melts,) which melts may share a firing; see `group_numbers`.
    """
    firings: list[IntArray] = []
    columns = balanced_columns(raw, coding)
    carried = np.zeros(columns.shape[1])
    for group in range(int(groups.max()) + 1):
        rows = np.flatnonzero(groups == group)
        if len(rows):
            sizes = even_sizes(len(rows), ceil(len(rows) / melts_per_firing))
            dealt = deal(columns[rows], sizes, rng, carried)
            carried = carried + _carried(columns[rows], sizes, dealt)
            firings += [rows[dealt == i] for i in range(len(sizes))]
    firings = [firings[i] for i in rng.permutation(len(firings))]
    return Layout(
        order=np.concatenate([rng.permutation(rows) for rows in firings]),
        firing=np.repeat(np.arange(len(firings)), [len(rows) for rows in firings]),
    )


def deal(
    columns: FloatArray, sizes: tuple[int, ...], rng: np.random.Generator, carried: FloatArray | None = None
) -> IntArray:
    """Firing (0, 1, ...) of each row, so that the firings' mean columns differ little.

    Parameters
    ----------
    columns : (n_rows, n_columns) what is to be balanced.
    sizes : number of rows of each firing; they sum to n_rows.
    carried : (n_columns,) what other firings carry of each column already.
    """
    start = np.repeat(np.arange(len(sizes)), sizes)
    if len(sizes) == 1:
        return start
    centred = columns - columns.mean(axis=0)
    before = np.zeros(columns.shape[1]) if carried is None else carried
    best, best_value = start, np.inf
    for _start in range(_STARTS):
        firing = rng.permutation(start)
        value = _exchange_pairs(centred, np.asarray(sizes, dtype=float), firing, before)
        if value < best_value - 1e-9:
            best, best_value = firing, value
        if best_value <= (before**2).sum() + 1e-9:  # nothing is lost to these firings
            break
    return best


def _exchange_pairs(z: FloatArray, size: FloatArray, firing: IntArray, before: FloatArray) -> float:
    """Exchange rows between firings, in place, while the sum of squares falls; returns that sum."""
    sums = np.zeros((len(size), z.shape[1]))
    np.add.at(sums, firing, z)
    load = before + (sums**2 / size[:, None]).sum(axis=0)
    for _sweep in range(_PASSES):
        improved = False
        for i in range(len(z)):
            mine = firing[i]
            step = z - z[i]  # what firing `mine` gains by taking row j for row i
            change = step * (2.0 * sums[mine] + step) / size[mine]
            change += step * (step - 2.0 * sums[firing]) / size[firing][:, None]
            change[firing == mine] = 0.0
            trial = ((load + change) ** 2).sum(axis=1)
            j = int(trial.argmin())
            if trial[j] < (load**2).sum() - 1e-9:
                load = load + change[j]
                sums[mine] += step[j]
                sums[firing[j]] -= step[j]
                firing[i], firing[j] = firing[j], mine
                improved = True
        if not improved:
            break
    return float((load**2).sum())


def _carried(columns: FloatArray, sizes: tuple[int, ...], firing: IntArray) -> FloatArray:
    """What the firings of one group carry of each column, shape (n_columns,)."""
    sums = np.zeros((len(sizes), columns.shape[1]))
    np.add.at(sums, firing, columns - columns.mean(axis=0))
    return np.asarray((sums**2 / np.asarray(sizes, dtype=float)[:, None]).sum(axis=0))


def balanced_columns(raw: FloatArray, coding: Coding) -> FloatArray:
    """What firings and blocks should be alike in: main effects and, at a lower weight, interactions of two factors."""
    mains, crosses = main_terms(coding.factors), cross_terms(coding.factors)
    main = [coding.term_columns(term, raw) for term in mains]
    cross = [_PRODUCT_WEIGHT * coding.term_columns(term, raw) for term in crosses]
    return np.column_stack([*main, *cross])

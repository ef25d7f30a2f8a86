"""Fractions that keep named two-factor interactions clear, found by trying every fraction there is.

An interaction is clear where it is mixed up with no main effect and no other two-factor interaction (Wu and Chen 1992,
Technometrics 34, from memory). Which pairs of columns are clear is a graph on the columns; the interactions asked for
are a graph on the factors. A fraction serves where the second can be laid into the first, factor by factor. Since all
fractions are tried up to the names of their factors, "none" is a proof, not a search that gave up.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from math import comb

import numpy as np
import numpy.typing as npt

from meltdoe.plans.fractions.minimum_aberration import column_parity

__all__ = ["MOST_SETS", "column_sets", "keeping_clear", "row_moments"]

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

MOST_SETS = 240_000
_CHUNK = 20_000


def column_sets(per_firing: int, per_melt: int, runs: int, rank: int) -> IntArray | None:
    """Every fraction, up to a change of basis and of names: column numbers, those of per-firing factors first.

    Parameters
    ----------
    per_firing, per_melt : numbers of factors set per firing (0 where nothing is shared) and per melt.
    runs : 2^r.
    rank : bits spanned by the per-firing factors; 0 where there are none.

    Returns
    -------
    (n_fractions, n_factors) numbers, or None where they are more than `MOST_SETS`.
    """
    bits = runs.bit_length() - 1
    whole_basis = [1 << i for i in range(rank)]
    sub_basis = [1 << i for i in range(rank, bits)]
    whole_rest = [c for c in range(1, 2**rank) if c not in whole_basis]
    sub_rest = [c for c in range(2**rank, runs) if c not in sub_basis]
    whole_added, sub_added = per_firing - rank, per_melt - len(sub_basis)
    if comb(len(whole_rest), whole_added) * comb(len(sub_rest), sub_added) > MOST_SETS:
        return None
    return np.array(
        [
            (*whole_basis, *whole, *sub_basis, *sub)
            for whole in combinations(whole_rest, whole_added)
            for sub in combinations(sub_rest, sub_added)
        ],
        dtype=np.int64,
    ).reshape(-1, per_firing + per_melt)


def keeping_clear(sets: IntArray, runs: int, shared: int, wanted: Sequence[tuple[int, int]]) -> tuple[int, ...] | None:
    """The fraction of least aberration that keeps pairs of factors clear; None where no set in `sets` does.

    Parameters
    ----------
    sets : (n_fractions, k) column numbers; see `column_sets`.
    shared : how many of the first factors are set per firing; they stay on the first columns.
    wanted : pairs of positions of factors.

    Returns
    -------
    tuple of int
        Column number of each factor.
    """
    k = sets.shape[1]
    pairs = list(combinations(range(k), 2))
    found: list[tuple[tuple[int, ...], BoolArray, IntArray]] = []
    for start in range(0, len(sets), _CHUNK):
        part = sets[start : start + _CHUNK]
        clear = _clear(part, pairs, runs)
        enough = np.flatnonzero(clear.sum(axis=1) >= len(wanted))
        if not len(enough):
            continue
        moments = row_moments(part[enough], runs)
        order = np.lexsort(moments.T[::-1])
        _, first = np.unique(clear[enough[order]], axis=0, return_index=True)
        for place in order[first]:
            row = enough[place]
            found.append((tuple(moments[place].tolist()), clear[row], part[row]))
    tried: set[bytes] = set()
    for _, mask, columns in sorted(found, key=lambda entry: entry[0]):
        if mask.tobytes() in tried:
            continue
        tried.add(mask.tobytes())
        graph = np.zeros((k, k), dtype=bool)
        for (i, j), is_clear in zip(pairs, mask, strict=True):
            graph[i, j] = graph[j, i] = is_clear
        place_of = _laid_into(graph, shared, wanted)
        if place_of is not None:
            return tuple(int(columns[i]) for i in place_of)
    return None


def _clear(sets: IntArray, pairs: Sequence[tuple[int, int]], runs: int) -> BoolArray:
    """Which pairs of columns of each set are clear, shape (n_sets, n_pairs)."""
    left, right = np.array(pairs).T
    products = sets[:, left] ^ sets[:, right]
    own = runs * np.arange(len(sets))[:, None]
    carried = np.bincount((products + own).ravel(), minlength=runs * len(sets)).reshape(-1, runs)
    mains = np.bincount((sets + own).ravel(), minlength=runs * len(sets)).reshape(-1, runs)
    alone = (carried == 1) & (mains == 0)
    return np.asarray(np.take_along_axis(alone, products, axis=1))


def row_moments(sets: IntArray, runs: int) -> IntArray:
    """Power sums of the rows that rank sets by (A3, A4, A5), shape (n_sets, 3).

    The sum over rows of (k - 2 w)^j counts the j-tuples of columns that multiply to the identity, so it grows with
    A_j where the lower sums agree.
    """
    parity = column_parity(runs).astype(np.int64)
    weights = np.zeros((len(sets), runs), dtype=np.int64)
    for column in sets.T:
        weights += parity[column]
    sums = sets.shape[1] - 2 * weights
    return np.column_stack([(sums**j).sum(axis=1) for j in (3, 4, 5)])


def _laid_into(graph: BoolArray, shared: int, wanted: Sequence[tuple[int, int]]) -> tuple[int, ...] | None:
    """A column for each factor so that every wanted pair lands on an edge; None where there is no such placing."""
    k = len(graph)
    wishes: list[set[int]] = [set() for _ in range(k)]
    for i, j in wanted:
        wishes[i].add(j)
        wishes[j].add(i)
    order = sorted(range(k), key=lambda i: (-len(wishes[i]), i))
    degree = graph.sum(axis=1)
    placed: dict[int, int] = {}

    def free(factor: int) -> Iterator[int]:
        own = range(shared) if factor < shared else range(shared, k)
        taken = set(placed.values())
        # a factor keeps its own column where that serves, so that names change as little as they must
        for column in sorted(own, key=lambda c: (c != factor, c)):
            if column not in taken and degree[column] >= len(wishes[factor]):
                yield column

    def place(depth: int) -> bool:
        if depth == k:
            return True
        factor = order[depth]
        for column in free(factor):
            if all(graph[column, placed[other]] for other in wishes[factor] if other in placed):
                placed[factor] = column
                if place(depth + 1):
                    return True
                del placed[factor]
        return False

    return tuple(placed[i] for i in range(k)) if place(0) else None

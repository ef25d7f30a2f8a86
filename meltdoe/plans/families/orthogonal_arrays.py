"""Orthogonal arrays with factors at two, three or four levels, and measures of how mixed up any array is.

The arrays are read from the tables that come with meltdoe (folder ``designs``, with their sources). An array has
strength t where every t columns hold each combination of levels equally often. Generalised numbers of words: Xu and
Wu (2001), Ann. Statist. 29, 549-560: A_j = n^-2 sum over all contrasts of j factors of (column sum)^2, with
orthonormal contrasts.
"""

from __future__ import annotations

import csv
from functools import lru_cache
from itertools import combinations

import numpy as np
import numpy.typing as npt

from meltdoe.series.coding import contrasts
from meltdoe.shipped import shipped_folder

__all__ = ["array_names", "generalised_word_counts", "orthogonal_array", "strength"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@lru_cache(maxsize=1)
def _index() -> dict[str, str]:
    """File of each orthogonal array by name."""
    with (shipped_folder("designs") / "index.csv").open(newline="", encoding="utf-8") as handle:
        return {row["name"]: row["file"] for row in csv.DictReader(handle) if row["kind"] == "orthogonal array"}


def array_names() -> tuple[str, ...]:
    """Names of the arrays, such as ``"L18"``, in order of runs."""
    return tuple(sorted(_index(), key=lambda name: (int("".join(filter(str.isdigit, name))), name)))


def orthogonal_array(name: str) -> IntArray:
    """A published orthogonal array.

    Returns
    -------
    (n_runs, n_columns) levels, counted from 1 as printed.

    Raises
    ------
    ValueError
        For an unknown name.
    """
    if name not in _index():
        raise ValueError(f"there is no array {name!r}; there are {', '.join(array_names())}")
    return np.loadtxt(shipped_folder("designs") / _index()[name], delimiter=",", skiprows=1, dtype=np.int64)


def strength(table: npt.ArrayLike) -> int:
    """Largest t so that every t columns hold each combination of their levels equally often; 0 for an unbalanced
    column.

    Parameters
    ----------
    table : (n_runs, n_columns) levels of any numbering.
    """
    runs = np.asarray(table)
    codes = np.column_stack([np.unique(column, return_inverse=True)[1] for column in runs.T])
    levels = codes.max(axis=0) + 1
    for size in range(1, runs.shape[1] + 1):
        for members in combinations(range(runs.shape[1]), size):
            shape = tuple(levels[list(members)])
            counts = np.bincount(
                np.ravel_multi_index(tuple(codes[:, list(members)].T), shape), minlength=int(np.prod(shape))
            )
            if counts.min() != counts.max():
                return size - 1
    return int(runs.shape[1])


def generalised_word_counts(table: npt.ArrayLike, longest: int = 3) -> tuple[float, ...]:
    """(A_1, ..., A_longest) of any array; for a regular two-level fraction the plain numbers of words.

    Parameters
    ----------
    table : (n_runs, n_columns) levels of any numbering.
    """
    runs = np.asarray(table)
    coded = []
    for column in runs.T:
        values, codes = np.unique(column, return_inverse=True)
        coded.append(contrasts(len(values))[codes])
    counts = []
    for size in range(1, longest + 1):
        total = 0.0
        for members in combinations(range(runs.shape[1]), size):
            product = np.ones((len(runs), 1))
            for i in members:
                product = (product[:, :, None] * coded[i][:, None, :]).reshape(len(runs), -1)
            total += float((product.sum(axis=0) ** 2).sum())
        counts.append(total / len(runs) ** 2)
    return tuple(counts)

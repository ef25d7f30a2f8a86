"""Regular two-level fractions whose per-firing factors take few different settings.

A fraction in N = 2^r runs gives each factor a non-zero r-bit number (see `meltdoe.plans.minimum_aberration`). Where the
numbers of the per-firing factors span a space of only q bits, their settings have 2^q combinations, and the runs fall
into 2^q groups of 2^(r-q) melts. Every per-melt factor has a number outside that space, so that it changes within each
group and is judged by the difference between melts, not between firings. Among these the fraction of minimum aberration
is taken: Huang, Chen and Voelkel (1998), Technometrics 40; Bingham and Sitter (1999), Technometrics 41 (from memory).

Method. Up to a change of basis the first q per-firing numbers are 1, 2, 4, ..., and r - q per-melt numbers are
2^q, 2^(q+1), ...; all sets of the remaining numbers are tried.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations
from math import ceil, comb

import numpy as np
import numpy.typing as npt

from meltdoe.plans.minimum_aberration import clear_pairs, column_parity, word_length_pattern

__all__ = ["least_firings", "split_plot_columns", "usable_ranks"]

_MOST_SETS = 200_000


def usable_ranks(per_firing: int, per_melt: int, runs: int) -> tuple[int, ...]:
    """Numbers of bits q that the per-firing factors can span in `runs` runs, fewest groups first."""
    bits = runs.bit_length() - 1
    return tuple(
        q for q in range(1, min(per_firing, bits) + 1) if 2**q - 1 >= per_firing and runs - 2**q >= per_melt >= bits - q
    )


def least_firings(rank: int, runs: int, melts_per_firing: int) -> int:
    """Firings taken by 2^rank groups of equal size."""
    return int(2**rank * ceil(runs / 2**rank / melts_per_firing))


@lru_cache(maxsize=64)
def split_plot_columns(per_firing: int, per_melt: int, runs: int, rank: int) -> tuple[int, ...]:
    """Column numbers of a minimum aberration split-plot fraction: per-firing factors first.

    Parameters
    ----------
    per_firing, per_melt : numbers of factors set per firing (at least 1) and per melt.
    runs : 4, 8, 16 or 32.
    rank : bits spanned by the per-firing factors, one of `usable_ranks`.

    Returns
    -------
    tuple of int
        Least (A3, A4, ...) of all; of equals the one with most clear two-factor interactions, then the smallest
        numbers.

    Raises
    ------
    ValueError
        Where the sets to try are too many (more factors than a short series has).
    """
    bits = runs.bit_length() - 1
    whole_basis = [1 << i for i in range(rank)]
    sub_basis = [1 << i for i in range(rank, bits)]
    whole_rest = [c for c in range(1, 2**rank) if c not in whole_basis]
    sub_rest = [c for c in range(2**rank, runs) if c not in sub_basis]
    whole_added, sub_added = per_firing - rank, per_melt - len(sub_basis)
    if comb(len(whole_rest), whole_added) * comb(len(sub_rest), sub_added) > _MOST_SETS:
        raise ValueError(f"{per_firing + per_melt} factors in {runs} runs are too many to search")
    sets = [
        (*whole_basis, *whole, *sub_basis, *sub)
        for whole in combinations(whole_rest, whole_added)
        for sub in combinations(sub_rest, sub_added)
    ]
    # the sum over rows of (k - 2 w)^j counts the j-tuples of columns that multiply to the identity, so it grows with
    # A_j # where the lower sums agree
    row_sums = len(sets[0]) - 2 * _row_weights(np.array(sets, dtype=np.int64), runs)
    moments = np.column_stack([(row_sums**j).sum(axis=1) for j in (3, 4, 5)])
    best = np.flatnonzero((moments == moments[np.lexsort(moments.T[::-1])[0]]).all(axis=1))
    return min((sets[i] for i in best[:500]), key=lambda c: (word_length_pattern(c, runs), -len(clear_pairs(c)), c))


def _row_weights(sets: npt.NDArray[np.int64], runs: int) -> npt.NDArray[np.int64]:
    """Number of low factors per row, shape (n_sets, runs)."""
    parity = column_parity(runs).astype(np.int64)
    weights = np.zeros((len(sets), runs), dtype=np.int64)
    for column in sets.T:
        weights += parity[column]
    return weights

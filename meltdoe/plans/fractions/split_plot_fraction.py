"""Regular two-level fractions whose per-firing factors take few different settings.

A fraction in N = 2^r runs gives each factor a non-zero r-bit number (see `meltdoe.plans.fractions.minimum_aberration`).
Where the numbers of the per-firing factors span a space of only q bits, their settings have 2^q combinations, and the
runs fall into 2^q groups of 2^(r-q) melts. Every per-melt factor has a number outside that space, so that it changes
within each group and is judged by the difference between melts, not between firings. Among these the fraction of
minimum aberration is taken: Huang, Chen and Voelkel (1998), Technometrics 40; Bingham and Sitter (1999), Technometrics
41 (from memory).

Method. Up to a change of basis the first q per-firing numbers are 1, 2, 4, ..., and r - q per-melt numbers are
2^q, 2^(q+1), ...; all sets of the remaining numbers are tried.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil

import numpy as np

from meltdoe.plans.fractions.clear_interactions import column_sets, keeping_clear, row_moments
from meltdoe.plans.fractions.minimum_aberration import clear_pairs, word_length_pattern

__all__ = ["least_firings", "split_plot_columns", "usable_ranks"]


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
def split_plot_columns(
    per_firing: int, per_melt: int, runs: int, rank: int, clear: tuple[tuple[int, int], ...] = ()
) -> tuple[int, ...] | None:
    """Column numbers of a minimum aberration split-plot fraction: per-firing factors first.

    Parameters
    ----------
    per_firing, per_melt : numbers of factors set per firing (at least 1) and per melt.
    runs : 4, 8, 16 or 32.
    rank : bits spanned by the per-firing factors, one of `usable_ranks`.
    clear : pairs of positions of factors whose interaction must be clear.

    Returns
    -------
    tuple of int
        Least (A3, A4, ...) of all that keep `clear`; of equals the one with most clear two-factor interactions, then
        the smallest numbers. None where none keeps `clear`: all are tried.

    Raises
    ------
    ValueError
        Where the sets to try are too many (more factors than a short series has).
    """
    sets = column_sets(per_firing, per_melt, runs, rank)
    if sets is None:
        raise ValueError(f"{per_firing + per_melt} factors in {runs} runs are too many to search")
    if clear:
        return keeping_clear(sets, runs, per_firing, clear)
    moments = row_moments(sets, runs)
    best = np.flatnonzero((moments == moments[np.lexsort(moments.T[::-1])[0]]).all(axis=1))
    candidates = [tuple(int(c) for c in sets[i]) for i in best[:500]]
    return min(candidates, key=lambda c: (word_length_pattern(c, runs), -len(clear_pairs(c)), c))

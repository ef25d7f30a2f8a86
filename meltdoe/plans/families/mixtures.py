"""Blends whose shares sum to one: simplex-lattice and simplex-centroid designs.

Scheffe (1958), J. R. Statist. Soc. B 20, 344-360 (lattice); Scheffe (1963), J. R. Statist. Soc. B 25, 235-263
(centroid); L-pseudocomponents for lower limits on shares, Kurotori (1966), Industrial Quality Control 22. From
memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from math import comb

import numpy as np
import numpy.typing as npt

__all__ = ["from_pseudocomponents", "simplex_centroid", "simplex_lattice"]

FloatArray = npt.NDArray[np.float64]


def simplex_lattice(components: int, degree: int) -> FloatArray:
    """All blends whose shares are multiples of 1/degree.

    Parameters
    ----------
    components : 2 to 10.  degree : 1 or more (2 for the quadratic mixture model, 3 for the cubic).

    Returns
    -------
    (C(components + degree - 1, degree), components) shares, each row sums to 1; pure components first among equals.

    Raises
    ------
    ValueError
        For other numbers.
    """
    if not 2 <= components <= 10 or degree < 1 or comb(components + degree - 1, degree) > 10_000:
        raise ValueError(
            f"no {{{components}, {degree}}} simplex lattice is drawn up; take 2 to 10 components and a small degree"
        )
    # bars between degree stars: the gaps are the shares
    places = combinations(range(components + degree - 1), components - 1)
    bars = np.array([(-1, *bar, components + degree - 1) for bar in places])
    return np.asarray((np.diff(bars, axis=1) - 1)[::-1] / degree)


def simplex_centroid(components: int) -> FloatArray:
    """Equal blends of every subset of the components: pure ones, halves, thirds, ... down to the overall centroid.

    Returns
    -------
    (2^components - 1, components) shares, each row sums to 1.

    Raises
    ------
    ValueError
        For fewer than 2 or more than 10 components.
    """
    if not 2 <= components <= 10:
        raise ValueError(f"simplex-centroid designs are drawn up for 2 to 10 components, not {components}")
    rows = []
    for size in range(1, components + 1):
        for members in combinations(range(components), size):
            row = np.zeros(components)
            row[list(members)] = 1.0 / size
            rows.append(row)
    return np.array(rows)


def from_pseudocomponents(shares: npt.ArrayLike, lowest: Sequence[float]) -> FloatArray:
    """Shares of a simplex design moved into the region where component i is at least lowest[i].

    x_i = lowest_i + (1 - sum lowest) z_i.

    Raises
    ------
    ValueError
        Where a lower limit is negative or they leave no room.
    """
    floor = np.asarray(lowest, dtype=float)
    room = 1.0 - floor.sum()
    if (floor < 0).any() or room <= 0:
        raise ValueError(f"lower limits {list(lowest)} must not be negative and must sum to less than 1")
    return np.asarray(floor + room * np.asarray(shares, dtype=float))

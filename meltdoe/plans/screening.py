"""Designs that find the few factors that matter: full factorials, Plackett-Burman and definitive screening.

Plackett and Burman (1946), Biometrika 33, 305-325: n - 1 two-level factors in n runs, n a multiple of 4; main effects
are orthogonal to each other and partly mixed up with all two-factor interactions of other factors. Jones and
Nachtsheim (2011), J. Qual. Technol. 43, 1-15, with conference matrices as in Xiao, Lin and Bai (2012), J. Qual.
Technol. 44, 2-8: k three-level factors in 2m + 1 runs (m = k or k + 1, even); main effects are orthogonal to each
other and to all squares and two-factor interactions.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from meltdoe.plans.hadamard import conference, hadamard

__all__ = ["definitive_screening", "full_factorial", "plackett_burman"]

FloatArray = npt.NDArray[np.float64]

# First rows, shifted cyclically n - 2 times and closed by a row of minus signs. Plackett and Burman (1946); the rows
# for 12 and 20 as carried by the NIST data files PB12.DAT and PB20.DAT, the row for 24 from memory; all proven
# orthogonal by test.
_FIRST_ROWS = {
    12: "++-+++---+-",
    20: "++--++++-+-+----++-",
    24: "+++++-+-++--++--+-+----",
}


def full_factorial(levels: Sequence[int]) -> FloatArray:
    """Every combination of levels, first factor fastest; levels evenly spaced on -1..+1.

    Parameters
    ----------
    levels : number of levels of each factor, at least 2.

    Returns
    -------
    (product of levels, n_factors) coded settings.

    Raises
    ------
    ValueError
        Where a factor has fewer than two levels or the table would pass 100,000 runs.
    """
    counts = list(levels)
    if not counts or min(counts) < 2:
        raise ValueError(f"every factor needs at least two levels, got {counts}")
    if np.prod(np.asarray(counts, dtype=float)) > 100_000:
        raise ValueError("the full factorial would have more than 100,000 runs")
    from pyDOE3 import fullfact  # inside: it loads scipy.stats, half a second

    return np.asarray(2.0 * fullfact(counts) / (np.asarray(counts) - 1.0) - 1.0)


def plackett_burman(runs: int) -> FloatArray:
    """Plackett-Burman design: `runs` - 1 two-level factors.

    Parameters
    ----------
    runs : a multiple of 4 from 12 to 48; 4 and 8 are accepted too (they are regular fractions, as are 16 and 32).

    Returns
    -------
    (runs, runs - 1) settings -1/+1; drop columns for fewer factors. The last run of 12, 20 and 24 is all low.

    Raises
    ------
    ValueError
        For another number of runs.
    """
    if runs % 4 or not 4 <= runs <= 48:
        raise ValueError(f"Plackett-Burman designs have a multiple of 4 runs from 4 to 48, not {runs}")
    if runs in _FIRST_ROWS:
        first = np.array([1.0 if sign == "+" else -1.0 for sign in _FIRST_ROWS[runs]])
        cyclic = np.array([np.roll(first, shift) for shift in range(runs - 1)])
        return np.vstack([cyclic, np.full(runs - 1, -1.0)])
    return np.asarray(hadamard(runs)[:, 1:])


def definitive_screening(factors: int) -> FloatArray:
    """Definitive screening design: a conference matrix, its mirror image and one centre run.

    Parameters
    ----------
    factors : 3 to 14; an odd number drops the last column of the next even order.

    Returns
    -------
    (2m + 1, factors) settings -1/0/+1 in mirrored pairs (runs i and m + i), the centre run last; m is `factors` or one
    more.

    Raises
    ------
    ValueError
        For fewer or more factors.
    """
    if not 3 <= factors <= 14:
        raise ValueError(f"definitive screening designs are drawn up for 3 to 14 factors, not {factors}")
    half = conference(factors + factors % 2)[:, :factors]
    return np.vstack([half, -half, np.zeros(factors)]) + 0.0  # + 0.0 turns -0 into 0

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

from meltdoe.plans.families.hadamard import conference, hadamard

__all__ = ["definitive_screening", "full_factorial", "plackett_burman"]

FloatArray = npt.NDArray[np.float64]

# First rows, shifted cyclically n - 2 times and closed by a row of minus signs. Plackett and Burman (1946); the rows
# for 12 and 20 as carried by the NIST data files PB12.DAT and PB20.DAT, the row for 24 from memory; all proven
# orthogonal by test.
_SIGN_STARTS = 12
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


def definitive_screening(factors: int, choices: int = 0) -> FloatArray:
    """Definitive screening design: a conference matrix, its mirror image and one centre run, or two with choices.

    Parameters
    ----------
    factors : 3 to 14; an odd number drops the last column of the next even order.
    choices : how many of them, the last columns, have two settings and no middle. Their zeros become -1 or +1,
        mirrored, and there are two centre runs, so that main effects stay independent of squares and interactions
        (Jones and Nachtsheim 2013, J. Qual. Technol. 45, from memory; the signs are searched here for the largest
        determinant of the main effects).

    Returns
    -------
    (2m + 1 or 2m + 2, factors) settings -1/0/+1 in mirrored pairs (runs i and m + i), the centre runs last; m is
        `factors` or one more.

    Raises
    ------
    ValueError
        For fewer or more factors, or more choices than factors.
    """
    if not 3 <= factors <= 14:
        raise ValueError(f"definitive screening designs are drawn up for 3 to 14 factors, not {factors}")
    if not 0 <= choices <= factors:
        raise ValueError(f"of {factors} factors 0 to {factors} can be choices, not {choices}")
    half = conference(factors + factors % 2)[:, :factors]
    if choices:
        return _with_choices(half, choices)
    return np.vstack([half, -half, np.zeros(factors)]) + 0.0  # + 0.0 turns -0 into 0


def _with_choices(half: FloatArray, choices: int) -> FloatArray:
    """The design with the zeros of its last columns settled, one sign after another until none is better."""
    rows = np.vstack([half, np.zeros(half.shape[1])])
    open_places = [
        (i, j) for j in range(half.shape[1] - choices, half.shape[1]) for i in np.flatnonzero(rows[:, j] == 0)
    ]
    best, best_value = rows, -np.inf
    for start in range(_SIGN_STARTS):
        trial = rows.copy()
        for place, sign in zip(
            open_places, np.random.default_rng(start).choice([-1.0, 1.0], len(open_places)), strict=True
        ):
            trial[place] = sign
        value = float(np.linalg.slogdet(trial.T @ trial)[1])
        improved = True
        while improved:
            improved = False
            for place in open_places:
                trial[place] *= -1.0
                flipped = float(np.linalg.slogdet(trial.T @ trial)[1])
                if flipped > value + 1e-9:
                    value, improved = flipped, True
                else:
                    trial[place] *= -1.0
        if value > best_value + 1e-9:
            best, best_value = trial, value
    pairs, centre = best[:-1], best[-1:]
    return np.vstack([pairs, -pairs, centre, -centre]) + 0.0  # + 0.0 turns -0 into 0

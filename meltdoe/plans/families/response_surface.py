"""Designs for a full quadratic: central composite and Box-Behnken.

Box and Wilson (1951), J. R. Statist. Soc. B 13, 1-45 (central composite); Box and Hunter (1957), Ann. Math. Statist.
28, 195-241 (rotatability: alpha = F^(1/4) for F factorial runs; orthogonal blocks); Box and Behnken (1960),
Technometrics 2, 455-475. All from memory except the run counts and axial distances, which agree with NIST/SEMATECH
e-Handbook, tables 3.23 and 3.28.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from meltdoe.plans.fractions.fractional import fraction

__all__ = ["CompositeBlocks", "box_behnken", "central_composite", "composite_blocks"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

# centre runs of the published designs: NIST/SEMATECH e-Handbook table 3.28 (3 to 6 factors); 7 factors from memory
_BOX_BEHNKEN_CENTRES = {3: 3, 4: 3, 5: 6, 6: 6, 7: 6}
# factors that vary together, Box and Behnken (1960), from memory; 3 to 5 factors take every pair
_BOX_BEHNKEN_SETS = {
    6: ((0, 1, 3), (1, 2, 4), (2, 3, 5), (0, 3, 4), (1, 4, 5), (0, 2, 5)),
    7: ((3, 4, 5), (0, 5, 6), (1, 4, 6), (0, 1, 3), (2, 3, 6), (0, 2, 4), (1, 2, 5)),
}
# centre runs that make the variance near uniform: NIST/SEMATECH e-Handbook table 3.28, by factors and factorial runs
_COMPOSITE_CENTRES = {(2, 4): 5, (3, 8): 6, (4, 16): 6, (5, 16): 7, (5, 32): 10, (6, 32): 10, (6, 64): 15}


def box_behnken(factors: int, centre_runs: int | None = None) -> FloatArray:
    """Box-Behnken design: small factorials in sets of factors, the others at their middle.

    Parameters
    ----------
    factors : 3 to 7.
    centre_runs : runs with every factor at its middle, put last; the published number where None.

    Returns
    -------
    (n_runs, factors) settings -1/0/+1: 15, 27, 46, 54 and 62 runs with the published centre runs.

    Raises
    ------
    ValueError
        For another number of factors or negative centre runs.
    """
    if factors not in _BOX_BEHNKEN_CENTRES:
        raise ValueError(f"Box-Behnken designs are drawn up for 3 to 7 factors, not {factors}")
    centres = _checked_centres(centre_runs, _BOX_BEHNKEN_CENTRES[factors])
    if factors in _BOX_BEHNKEN_SETS:
        # pyDOE3 varies pairs for every number of factors, which from 6 on is not the published design
        edges = np.vstack([_varied(factors, members) for members in _BOX_BEHNKEN_SETS[factors]])
        return np.vstack([edges, np.zeros((centres, factors))])
    from pyDOE3 import bbdesign  # inside: it loads scipy.stats, half a second

    return np.asarray(bbdesign(factors, centres), dtype=float)


def _varied(factors: int, members: Sequence[int]) -> FloatArray:
    """The full two-level factorial in `members`, zeros elsewhere."""
    runs = np.zeros((2 ** len(members), factors))
    runs[:, list(members)] = fraction(len(members), 2 ** len(members)).table
    return runs


def central_composite(
    factors: int,
    *,
    factorial_runs: int | None = None,
    axial: Literal["rotatable", "face"] | float = "rotatable",
    centre_runs: int | None = None,
    within_range: bool = False,
) -> FloatArray:
    """Central composite design: a two-level factorial, axial runs and centre runs, in this order.

    Parameters
    ----------
    factors : 2 to 8.
    factorial_runs : a power of 2; the smallest fraction of resolution V or more where None (2^k up to 4 factors).
    axial : distance of the axial runs from the centre: "rotatable" (alpha = factorial_runs^(1/4)), "face" (1) or a
        number.
    centre_runs : the number of NIST table 3.28 where it has one, else factors + 2, where None.
    within_range : shrink the design so that the axial runs lie at -1 and +1 and none lies outside the range.

    Returns
    -------
    (n_runs, factors) settings.

    Raises
    ------
    ValueError
        For other numbers, or a fraction of resolution below V (its interactions would be mixed up with each other).
    """
    if not 2 <= factors <= 8:
        raise ValueError(f"central composite designs are drawn up for 2 to 8 factors, not {factors}")
    corner = _corners(factors, factorial_runs)
    if axial == "rotatable":
        distance = len(corner) ** 0.25
    elif axial == "face":
        distance = 1.0
    else:
        distance = float(axial)
    if not distance > 0:
        raise ValueError(f"the axial distance must be positive, got {distance:g}")
    star = np.vstack([[-row, row] for row in distance * np.eye(factors)]) + 0.0
    centres = _checked_centres(centre_runs, _COMPOSITE_CENTRES.get((factors, len(corner)), factors + 2))
    runs = np.vstack([corner, star, np.zeros((centres, factors))])
    return runs / max(1.0, distance) if within_range else runs


def _corners(factors: int, factorial_runs: int | None) -> FloatArray:
    sizes = [factorial_runs] if factorial_runs is not None else [2**r for r in range(2, 9) if 2**r <= 2**factors]
    for size in sizes:
        if size < factors + 1 and size != 2**factors:
            continue
        design = fraction(factors, size)
        if design.resolution is None or design.resolution >= 5:
            return design.table
    raise ValueError(
        f"{factorial_runs} factorial runs mix up two-factor interactions of {factors} factors with each other "
        "or with main effects; take twice as many"
    )


def _checked_centres(given: int | None, default: int) -> int:
    if given is not None and given < 0:
        raise ValueError(f"the number of centre runs cannot be negative, got {given}")
    return default if given is None else given


@dataclass(frozen=True, eq=False)
class CompositeBlocks:
    """A central composite design in two orthogonal blocks: factorial runs first, axial runs second.

    Parameters
    ----------
    table : (n_runs, n_factors) settings.  block : (n_runs,) 1 or 2.  axial : distance of the axial runs.
    """

    table: FloatArray
    block: IntArray
    axial: float


def composite_blocks(
    factors: int, *, factorial_runs: int | None = None, factorial_centres: int = 3, axial_centres: int = 3
) -> CompositeBlocks:
    """Central composite design whose two blocks are orthogonal to the full quadratic.

    Two blocks are orthogonal where the sum of x_i^2 in each is proportional to its runs (Box and Hunter 1957):
    2 alpha^2 / F = (2k + c_axial) / (F + c_factorial).

    Parameters
    ----------
    factors : 2 to 8.  factorial_centres, axial_centres : centre runs in the two blocks.

    Raises
    ------
    ValueError
        As for `central_composite`.
    """
    corner = _corners(factors, factorial_runs)
    first = _checked_centres(factorial_centres, 0) + len(corner)
    second = _checked_centres(axial_centres, 0) + 2 * factors
    axial = float(np.sqrt(len(corner) * second / (2.0 * first)))
    star = np.vstack([[-row, row] for row in axial * np.eye(factors)]) + 0.0
    table = np.vstack([corner, np.zeros((factorial_centres, factors)), star, np.zeros((axial_centres, factors))])
    return CompositeBlocks(table, np.repeat([1, 2], [first, second]), axial)

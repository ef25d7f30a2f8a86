"""Follow-up runs that undo aliases: foldover of all or one factor, and semifolding.

Reversing all signs of a resolution III fraction frees every main effect of two-factor interactions; reversing one
factor frees that factor and all its two-factor interactions (Box, Hunter and Hunter 1978, Statistics for
Experimenters, pp. 391 and 394, from memory). Half of a foldover often serves as well (Mee and Peralta 2000,
Technometrics 42, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

__all__ = ["foldover", "semifold"]

FloatArray = npt.NDArray[np.float64]


def foldover(table: npt.ArrayLike, flip: Sequence[int] | None = None) -> FloatArray:
    """The runs to add: `table` with the signs of the columns `flip` reversed (all columns where None).

    Parameters
    ----------
    table : (n_runs, n_factors) coded settings.
    flip : positions of the factors to reverse.

    Returns
    -------
    (n_runs, n_factors) added runs; `table` itself is not repeated.

    Raises
    ------
    ValueError
        Where `flip` is empty or names no column.
    """
    runs = np.array(table, dtype=float)
    columns = list(range(runs.shape[1])) if flip is None else list(flip)
    if not columns or not set(columns) <= set(range(runs.shape[1])):
        raise ValueError(f"flip must name some of the {runs.shape[1]} columns by position, got {columns}")
    runs[:, columns] *= -1.0
    return runs


def semifold(table: npt.ArrayLike, flip: Sequence[int], keep: int, level: float = 1.0) -> FloatArray:
    """Half a foldover: of the reversed runs, those with factor `keep` at `level`.

    Parameters
    ----------
    keep : position of the factor that chooses the half, by its setting after the reversal.

    Returns
    -------
    (about n_runs / 2, n_factors) added runs.

    Raises
    ------
    ValueError
        Where no run has that setting.
    """
    folded = foldover(table, flip)
    half = folded[np.isclose(folded[:, keep], level)]
    if not len(half):
        raise ValueError(f"no run has factor {keep} at {level:g}")
    return np.asarray(half)

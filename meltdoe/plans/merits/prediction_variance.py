"""How well a design will predict, before anything is melted: leverages, prediction variance, D-, A-, G-efficiency.

For the linear model y = Xb + e, var e = sigma^2, the prediction at f has variance sigma^2 v(f), v = f'(X'X)^-1 f.
Definitions as in NIST/SEMATECH e-Handbook, section 5.5.2.1, and Atkinson and Donev (1992), Optimum Experimental
Designs: D = 100 |X'X|^(1/p) / n,  A = 100 p / (n tr (X'X)^-1),  G = 100 p / (n max v);  I is the average of v over
the region. All depend on the coding: -1..+1 for amounts, orthonormal contrasts for choices.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import linalg

from meltdoe.errors import Inestimable
from meltdoe.plans.merits.aliasing import indistinguishable

__all__ = ["Efficiencies", "efficiencies", "leverages", "prediction_variance"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Efficiencies:
    """Measures of one design for one model.

    Parameters
    ----------
    d, a, g : per cent; 100 is an orthogonal two-level design. A quadratic model cannot reach 100.
    average_variance : v averaged over the region, in units of sigma^2.
    largest_variance : largest v at the points given.
    largest_leverage : largest v at the runs themselves; 1 is a run whose result is fitted exactly, whatever it is.
    """

    d: float
    a: float
    g: float
    average_variance: float
    largest_variance: float
    largest_leverage: float


def _root(X: npt.ArrayLike, information: npt.ArrayLike | None, names: Sequence[str] | None) -> FloatArray:
    """Upper Cholesky factor R with R'R = information, or an error that names the terms that cannot be told apart."""
    rows = np.asarray(X, dtype=float)
    M = rows.T @ rows if information is None else np.asarray(information, dtype=float)
    scale = np.sqrt(np.maximum(np.diag(M), 1e-300))
    try:
        R = linalg.cholesky(M / np.outer(scale, scale))
    except linalg.LinAlgError:
        R = np.zeros_like(M)
    if np.abs(np.diag(R)).min() < 1e-7:
        labels = names or [f"column {j + 1}" for j in range(rows.shape[1])]
        tied = indistinguishable(rows, labels)
        said = "; ".join(" and ".join(group) for group in tied) or "the terms"
        raise Inestimable(f"these runs cannot tell apart: {said}", tuple(name for group in tied for name in group))
    return np.asarray(R * scale)


def prediction_variance(
    X: npt.ArrayLike, F: npt.ArrayLike, *, information: npt.ArrayLike | None = None, names: Sequence[str] | None = None
) -> FloatArray:
    """v(f) = f' M^-1 f at the rows of F, in units of sigma^2.

    Parameters
    ----------
    X : (n_runs, p) model matrix.  F : (m, p) model rows where predictions are wanted.
    information : (p, p) M in place of X'X: with shared firings, or with prior precision.
    names : p term names for errors.

    Returns
    -------
    (m,) variances; add 1 for a single new result instead of the mean.

    Raises
    ------
    Inestimable
        Where the runs cannot tell all terms apart.
    """
    R = _root(X, information, names)
    half = linalg.solve_triangular(R, np.atleast_2d(np.asarray(F, dtype=float)).T, trans="T")
    return np.asarray((half**2).sum(axis=0))


def leverages(X: npt.ArrayLike) -> FloatArray:
    """Diagonal of the hat matrix, shape (n_runs,): between 0 and 1, sums to the rank; works for any rank."""
    U, s, _ = linalg.svd(np.asarray(X, dtype=float), full_matrices=False)
    kept = U[:, s > s.max(initial=0.0) * 1e-10]
    return np.asarray((kept**2).sum(axis=1))


def efficiencies(
    X: npt.ArrayLike,
    F: npt.ArrayLike,
    weights: npt.ArrayLike | None = None,
    *,
    moments: npt.ArrayLike | None = None,
    names: Sequence[str] | None = None,
) -> Efficiencies:
    """All measures at once.

    Parameters
    ----------
    X : (n_runs, p) model matrix.
    F : (m, p) model rows that cover the region, its corners included (largest variance).
    weights : (m,) weights of the average over F; equal where None.
    moments : (p, p) exact average of f f' over the region, in place of the average over F.
    names : p term names for errors.

    Raises
    ------
    Inestimable
        Where the runs cannot tell all terms apart.
    """
    rows, region = np.asarray(X, dtype=float), np.asarray(F, dtype=float)
    n, p = rows.shape
    R = _root(rows, None, names)
    v = prediction_variance(rows, region)
    inverse_root = linalg.solve_triangular(R, np.eye(p))
    if moments is None:
        average = float(np.average(v, weights=None if weights is None else np.asarray(weights)))
    else:
        average = float(np.sum((inverse_root.T @ np.asarray(moments, dtype=float)) * inverse_root.T))
    largest = float(v.max())
    return Efficiencies(
        d=100.0 * float(np.exp(2.0 * np.log(np.abs(np.diag(R))).sum() / p)) / n,
        a=100.0 * p / (n * float((inverse_root**2).sum())),
        g=100.0 * p / (n * largest),
        average_variance=average,
        largest_variance=largest,
        largest_leverage=float(leverages(rows).max()),
    )

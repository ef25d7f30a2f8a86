"""Cholesky factors of a stack of matrices of some tens of columns, and what is solved with them.

One call of LAPACK for each matrix: numpy's stacked solution and inverse take several times as long, since they know
nothing of symmetry and triangles. For thousands of smaller ones see `small_cholesky.py`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

__all__ = ["inverse", "log_determinants", "positive_roots", "solve_with", "spread_of"]

Array = NDArray[np.float64]

_LEAST = 1e-3  # to which an eigenvalue is lifted where a matrix is not positive definite


def positive_roots(H: Array) -> tuple[Array, Array]:
    """Lower factors L of symmetric matrices H (m, r, r), H = L L', and H as it was factored.

    A matrix that is not positive definite has the signs of its eigenvalues turned first.
    """
    L, known = H.copy(), H
    # Seen by columns, as LAPACK does, a lower factor is an upper one.
    for i, each in enumerate(L):
        if lapack.dpotrf(each.T, lower=0, clean=1, overwrite_a=1)[1]:
            values, vectors = np.linalg.eigh(H[i])
            turned = (vectors * np.maximum(np.abs(values), _LEAST)) @ vectors.T
            known = H.copy() if known is H else known
            known[i], L[i] = turned, np.linalg.cholesky(turned)
    return L, known


def solve_with(L: Array, b: Array) -> Array:
    """Solutions x (m, r) of L L' x = b, with L (m, r, r) and b (m, r)."""
    found = np.array(b)
    for root, x in zip(L, found, strict=True):
        lapack.dpotrs(root.T, x[:, None], lower=0, overwrite_b=1)
    return found


def inverse(L: Array) -> Array:
    """Inverses (m, r, r) of lower triangular L."""
    found = L.copy()
    for each in found if L.size else ():
        lapack.dtrtri(each.T, lower=0, overwrite_c=1)
    return found


def spread_of(L: Array, weights: Array) -> Array:
    """Variances (m, n) of weighted sums of a Gaussian with precisions L L', with weights (m, n, r) or (n, r)."""
    each = np.broadcast_to(weights, (len(L), *weights.shape[-2:]))
    found = np.empty(each.shape[:2])
    for root, w, variances in zip(L, each, found, strict=True) if each.size else ():
        half = lapack.dtrtrs(root.T, w.T, lower=0, trans=1)[0]
        np.einsum("in,in->n", half, half, out=variances)
    return found


def log_determinants(L: Array) -> Array:
    """(m,) log determinants of L L'."""
    return np.asarray(2.0 * np.log(np.diagonal(L, axis1=1, axis2=2)).sum(axis=1))

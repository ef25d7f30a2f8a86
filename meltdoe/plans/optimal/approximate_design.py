"""Optimal designs without whole numbers of runs: the yardstick for exact ones.

A design puts weight w_i on candidate i, M = sum w_i f_i f_i'. The multiplicative algorithm (Titterington 1976; Silvey,
Titterington and Torsney 1978, Commun. Statist. A 7, from memory) raises log |M| by w_i <- w_i v_i / p with v_i = f_i'
M^-1 f_i, and lowers tr(W M^-1) by w_i <- w_i sqrt(d_i), d_i = f_i' M^-1 W M^-1 f_i, weights made to sum to 1. By the
equivalence theorem (Kiefer and Wolfowitz 1960, Canad. J. Math. 12) a design is D-optimal where max v = p.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["ApproximateDesign", "approximate_optimum"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ApproximateDesign:
    """Weights over candidates.

    Parameters
    ----------
    weights : (m,) share of the runs at each candidate.
    information : (p, p) M per run.
    value : |M|^(1/p) for the D criterion, tr(W M^-1) otherwise.
    sensitivity : largest sensitivity over candidates: p at the D-optimum, `value` at the optimum of tr(W M^-1).
    """

    weights: FloatArray
    information: FloatArray
    value: float
    sensitivity: float


def approximate_optimum(
    F: npt.ArrayLike, weight: npt.ArrayLike | None = None, *, tolerance: float = 1e-6, most: int = 10_000
) -> ApproximateDesign:
    """The best weights over candidate rows.

    Parameters
    ----------
    F : (m, p) model rows of the candidates, of rank p.
    weight : (p, p) W of the criterion tr(W M^-1): identity for A, moments of the region for I. None for D.
    tolerance : relative distance of the largest sensitivity from its value at the optimum.
    most : iterations at most.

    Raises
    ------
    ValueError
        Where the candidates cannot estimate all terms.
    """
    rows = np.asarray(F, dtype=float)
    p = rows.shape[1]
    if np.linalg.matrix_rank(rows) < p:
        raise ValueError(f"the candidates cannot estimate all {p} terms")
    W = None if weight is None else np.asarray(weight, dtype=float)
    support = np.arange(len(rows))
    w = np.full(len(rows), 1.0 / len(rows))
    for iteration in range(most):
        inside = rows[support]
        M = (inside * w[support, None]).T @ inside
        D = np.linalg.inv(M)
        Q = D if W is None else D @ W @ D
        goal = float(p) if W is None else float(np.trace(W @ D))
        if iteration % 50 == 0:
            largest = float(((rows @ Q) * rows).sum(axis=1).max())
            if largest <= goal * (1.0 + tolerance):
                break
            # weights that have died out cost time and no longer matter; any candidate of high sensitivity returns
            support = np.flatnonzero((w > 1e-12) | (((rows @ Q) * rows).sum(axis=1) > goal * (1 - 1e-3)))
            inside = rows[support]
        d = ((inside @ Q) * inside).sum(axis=1)
        fresh = np.zeros(len(rows))
        fresh[support] = np.maximum(w[support], 1e-14) * (d if W is None else np.sqrt(d))
        w = fresh / fresh.sum()
    M = (rows * w[:, None]).T @ rows
    D = np.linalg.inv(M)
    Q = D if W is None else D @ W @ D
    value = float(np.exp(np.linalg.slogdet(M)[1] / p)) if W is None else float(np.trace(W @ D))
    return ApproximateDesign(w, M, value, float(((rows @ Q) * rows).sum(axis=1).max()))

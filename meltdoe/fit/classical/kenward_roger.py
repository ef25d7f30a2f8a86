"""Small-sample covariance, degrees of freedom and F tests for a model with several variance components.

Model: ``y ~ N(X b, V)``, ``V = sum_r s_r G_r`` with known ``G_r`` (n, n) and components ``s_r`` estimated by restricted
maximum likelihood. Notation and formulas of Kenward and Roger (1997), Biometrics 53, 983-997, from memory:

* ``Phi = (X'V^-1 X)^-1``; ``W`` the inverse expected information of the components;
* ``P_r = -X'V^-1 G_r V^-1 X``, ``Q_rs = X'V^-1 G_r V^-1 G_s V^-1 X`` (V is linear in the components, so R_rs = 0);
* adjusted covariance ``Phi_A = Phi + 2 Phi { sum_rs W_rs (Q_rs - P_r Phi P_s) } Phi``;
* an F test of ``L b = 0`` with scale and denominator degrees of freedom that match its first two moments.

For a single contrast the degrees of freedom are those of Satterthwaite (1946), Biometrics Bulletin 2, 110-114.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, special

__all__ = ["ScaledF", "SmallSample", "small_sample"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ScaledF:
    """Scaled F statistic on `df` and `df_error` degrees of freedom; `scale` is already in the statistic."""

    statistic: float
    df: int
    df_error: float
    p_value: float
    scale: float


@dataclass(frozen=True, slots=True, eq=False)
class SmallSample:
    """What the tests need, worked out once for a fit.

    plain, adjusted : (p, p) Phi and Phi_A. component_covariance : (r, r) W.
    spread : (r, p, p) Phi P_r Phi, the change of Phi with each component, with its sign turned.
    """

    plain: Array
    adjusted: Array
    component_covariance: Array
    spread: Array

    def f_test(self, L: ArrayLike, coef: Array) -> ScaledF:
        """Test L coef = 0, L of shape (l, p) and full row rank."""
        rows = np.atleast_2d(np.asarray(L, dtype=float))
        count = rows.shape[0]
        W = self.component_covariance
        # tr(Theta Phi P_r Phi) with Theta = L'(L Phi L')^-1 L, through the (l, l) matrices T_r.
        T = np.array([linalg.solve(rows @ self.plain @ rows.T, rows @ part @ rows.T) for part in self.spread])
        traces = np.einsum("raa->r", T)
        a1 = float(traces @ W @ traces)
        a2 = float(np.einsum("rs,rab,sba->", W, T, T))
        df_error, scale = _moments(a1, a2, count)
        value = rows @ coef
        wald = float(value @ linalg.solve(rows @ self.adjusted @ rows.T, value, assume_a="pos")) / count
        statistic = scale * wald
        return ScaledF(statistic, count, df_error, float(special.fdtrc(count, df_error, statistic)), scale)

    def degrees_of_freedom(self, row: Array) -> float:
        """Degrees of freedom of the single contrast row (p,): 2 (c'Phi c)^2 / var(c'Phi c)."""
        change = np.einsum("p,rpq,q->r", row, self.spread, row)
        return float(2 * (row @ self.plain @ row) ** 2 / (change @ self.component_covariance @ change))


def small_sample(X: Array, parts: Sequence[Array], components: Array) -> SmallSample:
    """Prepare Kenward-Roger inference.

    Parameters
    ----------
    X : (n, p) model matrix of full column rank.
    parts : the matrices G_r (n, n), one a component.
    components : (r,) estimated components; V must be positive definite.
    """
    V = np.tensordot(components, np.array(parts), axes=1)
    inverse = linalg.inv(V)
    inverse_x = inverse @ X
    phi = linalg.inv(X.T @ inverse_x)
    projector = inverse - inverse_x @ phi @ inverse_x.T
    # Expected information of the components under REML: tr(P G_r P G_s) / 2.
    turned = [projector @ part for part in parts]
    information = 0.5 * np.array([[np.sum(a * b.T) for b in turned] for a in turned])
    # Components may differ by many powers of ten, so the matrix is scaled before it is inverted.
    size = 1 / np.sqrt(np.diag(information))
    W = size[:, None] * linalg.inv(size[:, None] * information * size) * size
    moved = [part @ inverse_x for part in parts]
    P = [-inverse_x.T @ m for m in moved]
    correction = np.zeros_like(phi)
    for r, first in enumerate(moved):
        for s, second in enumerate(moved):
            correction += W[r, s] * (first.T @ inverse @ second - P[r] @ phi @ P[s])
    adjusted = phi + 2 * phi @ correction @ phi
    return SmallSample(
        plain=phi,
        adjusted=(adjusted + adjusted.T) / 2,
        component_covariance=W,
        spread=np.array([phi @ part @ phi for part in P]),
    )


def _moments(a1: float, a2: float, count: int) -> tuple[float, float]:
    """Denominator degrees of freedom m and scale lambda from A1, A2 and l = count, by Kenward and Roger (1997)."""
    if count == 1:
        # A1 = A2 there, and the formulas below come to m = 2 / A1 and scale 1 without their loss of digits.
        return (2 / a1 if a1 > 0 else float("inf")), 1.0
    B = (a1 + 6 * a2) / (2 * count)
    g = ((count + 1) * a1 - (count + 4) * a2) / ((count + 2) * a2)
    below = 3 * count + 2 * (1 - g)
    c1, c2, c3 = g / below, (count - g) / below, (count + 2 - g) / below
    v0, v1, v2 = 1 + c1 * B, 1 - c2 * B, 1 - c3 * B
    inverse_mean = 1 - a2 / count  # 1 / E*
    # V* = (2 / l) v0 / (v1^2 v2) and rho = V* / (2 E*^2). Numerator and denominator vanish together where the exact
    # answer is 2 degrees of freedom, and v2 alone where it is 4, so the quotient is not formed before it is needed.
    quotient = 1.0 if max(abs(inverse_mean), abs(v1)) < 1e-10 else inverse_mean / v1
    numerator = quotient**2 * v0  # l rho = numerator / v2
    m = 4 + (count + 2) * v2 / (numerator - v2)
    return m, (1.0 if abs(m - 2) < 1e-2 else m * inverse_mean / (m - 2))

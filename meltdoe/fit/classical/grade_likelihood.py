"""The likelihood of cumulative logits on the grades that were seen, its penalty, and the way up to its maximum.

Notation as in `meltdoe.fit.classical.ordered_logit`; the thresholds k come first in a parameter, the slopes after them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.separation import require_independent_columns, term_names

__all__ = [
    "LOG_F",
    "SeenGrades",
    "checked_grades",
    "climb_to_maximum",
    "common_slopes",
    "penalised_objective",
    "starting_point",
]

Array = NDArray[np.float64]
Objective = Callable[[Array], tuple[float, Array, Array]]

LOG_F = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class SeenGrades:
    """Checked data: X (n, p), y (n,) from 0, weights (n,)."""

    X: Array
    y: NDArray[np.intp]
    weights: Array
    n_grades: int
    names: tuple[str, ...]

    @property
    def counts(self) -> Array:
        return np.bincount(self.y, weights=self.weights, minlength=self.n_grades).astype(float)

    def only_seen(self) -> SeenGrades:
        seen, code = np.unique(self.y, return_inverse=True)
        return SeenGrades(self.X, code.astype(np.intp), self.weights, seen.size, self.names)

    def with_shared_casting(self) -> SeenGrades:
        J = self.n_grades
        mean = np.average(self.X, axis=0, weights=self.weights)
        return SeenGrades(
            np.vstack([self.X, np.tile(mean, (J, 1))]),
            np.concatenate([self.y, np.arange(J)]),
            np.concatenate([self.weights, np.full(J, 1 / J)]),
            J,
            self.names,
        )


def checked_grades(
    X: ArrayLike, y: ArrayLike, n_grades: int, weights: ArrayLike | None, level: float, names: Sequence[str] | None
) -> SeenGrades:
    matrix, grades = np.asarray(X, dtype=float), np.asarray(y)
    if matrix.ndim != 2 or grades.shape != matrix.shape[:1]:
        raise ValueError(f"X must be (n, p) and y (n,), not {matrix.shape} and {grades.shape}")
    share = np.ones(grades.size) if weights is None else np.asarray(weights, dtype=float)
    if share.shape != grades.shape or not np.isfinite(share).all() or (share < 0).any() or not share.any():
        raise ValueError("weights must be one number a row, none negative and not all zero")
    if not np.isfinite(matrix).all():
        raise ValueError("X must hold finite numbers")
    if n_grades < 2 or (grades != np.floor(grades)).any() or (grades < 0).any() or (grades >= n_grades).any():
        raise ValueError(f"grades must be whole numbers from 0 to {n_grades - 1}, of at least two")
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1, not {level}")
    labels = term_names(matrix.shape[1], names)
    kept = share > 0
    matrix = matrix[kept]
    fixed = tuple(label for label, spread in zip(labels, np.ptp(matrix, axis=0), strict=True) if spread == 0)
    if fixed:
        raise Inestimable(f"{', '.join(fixed)}: the same in every row, so no effect can be seen", fixed)
    constant = np.ones((matrix.shape[0], 1))
    require_independent_columns(np.hstack([constant, matrix]), ("thresholds", *labels))
    return SeenGrades(matrix, grades[kept].astype(np.intp), share[kept], n_grades, labels)


def starting_point(data: SeenGrades) -> Array:
    """Thresholds of the grades' shares without effects; half a casting more in each keeps them apart."""
    share = (data.counts + 0.5) / np.sum(data.counts + 0.5)
    return np.asarray(special.logit(np.cumsum(share)[:-1]), dtype=float)


def common_slopes(X: Array, q: int) -> Array:
    """Z (n, q, q + p) with k_j - x'b = Z (k, b)."""
    n, p = X.shape
    return np.concatenate([np.broadcast_to(np.eye(q), (n, q, q)), np.broadcast_to(-X[:, None], (n, q, p))], axis=2)


def penalised_objective(data: SeenGrades, Z: Array, q: int, strength: float) -> Objective:
    """Log likelihood less penalty, its gradient, and minus its second derivative; -inf where thresholds cross.

    Z : (n, q, m). strength : of the log-F penalty on the parameters behind the q thresholds; 0 for none.
    """
    n, _, m = Z.shape
    row = np.arange(n)
    # Rows of the upper and lower threshold of each grade seen; the outer ones lie at infinity and do not move.
    padded = np.concatenate([np.zeros((n, 1, m)), Z, np.zeros((n, 1, m))], axis=1)
    above, below = padded[row, data.y + 1], padded[row, data.y]
    last, first = data.y == q, data.y == 0
    weights = data.weights

    def value(parameters: Array) -> tuple[float, Array, Array]:
        if q > 1 and not (np.diff(Z @ parameters, axis=1) > 0).all():
            return float("-inf"), np.zeros(m), np.eye(m)
        upper = np.where(last, np.inf, above @ parameters)
        lower = np.where(first, -np.inf, below @ parameters)
        log_a, log_b = special.log_expit(upper), special.log_expit(-lower)
        log_gap = np.log(-np.expm1(lower - upper))
        # Derivative of the log chance by the upper threshold, and minus that by the lower one.
        up = np.exp(special.log_expit(-upper) - log_b - log_gap)
        down = np.exp(special.log_expit(lower) - log_a - log_gap)
        slopes = parameters[q:]
        total = weights @ (log_a + log_b + log_gap) + strength * np.sum(slopes / 2 - np.logaddexp(0, slopes))
        gradient = above.T @ (weights * up) - below.T @ (weights * down)
        gradient[q:] -= strength * (special.expit(slopes) - 0.5)
        own_up = weights * (up**2 - up * (1 - 2 * special.expit(upper)))
        own_down = weights * (down**2 + down * (1 - 2 * special.expit(lower)))
        cross = above.T @ ((weights * up * down)[:, None] * below)
        bend = above.T @ (own_up[:, None] * above) + below.T @ (own_down[:, None] * below) - cross - cross.T
        bend[range(q, m), range(q, m)] += strength * special.expit(slopes) * special.expit(-slopes)
        return float(total), gradient, bend

    return value


def climb_to_maximum(objective: Objective, start: Array) -> tuple[float, Array] | None:
    """Newton's method with halved steps: the top and where it lies; None where it does not settle."""
    point = start
    value, gradient, bend = objective(point)
    ridge = 1e-12 * np.eye(point.size)  # matters only where the surface is flat to rounding
    for _ in range(200):
        step = np.linalg.solve(bend + ridge, gradient)
        gain = float(gradient @ step)  # twice the rise that a quadratic would still promise
        if gain < 1e-13 * (1 + abs(value)):
            return value, point
        size = 1.0
        while (trial := objective(point + size * step))[0] < value + 1e-4 * size * gain:
            size /= 2
            if size < 1e-10:
                return (value, point) if gain < 1e-9 else None
        point = point + size * step
        value, gradient, bend = trial
    return None

"""Derivatives of the log likelihood of single rows in the linear predictor eta and the shape parameters.

pass    log F(eta) or log (1 - F(eta)):  first y - F, second -F (1 - F)
grade   log (F(a) - F(b)) with a = k_c - eta, b = k_(c-1) - eta is log (1 - e^(b-a)) + log F(a) + log F(-b), whose
        terms have the derivatives (a - b) / (e^(a-b) - 1) in the log gap, 1 - F(a) in a, and -F(b) in b

Other rows are differentiated numerically: each depends on few numbers.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

__all__ = ["central_differences", "grade_derivatives", "grade_slopes", "pass_slopes"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int_]

_STEP = 2e-3  # of the central differences; truncation about 1e-7, rounding about 1e-9


def pass_slopes(y: Array, trials: Array, eta: Array) -> tuple[Array, Array]:
    """First and second derivatives (..., n) in eta of y passes out of `trials`."""
    chance = expit(eta)
    expected = trials * chance
    return y - expected, expected * (chance - 1.0)


def _ends(grade: IntArray, shape: Array) -> tuple[Array, Array]:
    """Upper and lower threshold (..., n) of the grade of each row."""
    zero = np.zeros((*shape.shape[:-1], 1))
    k = np.concatenate([zero - np.inf, zero, np.cumsum(np.exp(shape), axis=-1), zero + np.inf], axis=-1)
    return k[..., grade + 1], k[..., grade]


def grade_slopes(grade: IntArray, eta: Array, shape: Array) -> tuple[Array, Array]:
    """First and second derivatives (..., n) in eta of grades (n,); shape (..., n_grades - 2)."""
    upper, lower = _ends(grade, shape)
    above, below = expit(eta - upper), expit(lower - eta)  # 1 - F(a), F(b)
    return below - above, above * (above - 1.0) + below * (below - 1.0)


def grade_derivatives(grade: IntArray, eta: Array, shape: Array) -> tuple[Array, Array]:
    """First (m, 1+q, n) and second (m, 1+q, 1+q, n) derivatives in (eta, log gaps): eta (m, n), shape (m, q)."""
    (m, n), q = eta.shape, shape.shape[1]
    upper, lower = _ends(grade, shape)
    above, below = expit(eta - upper), expit(lower - eta)
    bend_above, bend_below = above * (above - 1.0), below * (below - 1.0)
    first, second = np.empty((m, 1 + q, n)), np.empty((m, 1 + q, 1 + q, n))
    first[:, 0], second[:, 0, 0] = below - above, bend_above + bend_below
    gap = np.exp(shape)
    for j in range(q):
        # Gap j lies below the upper threshold of grades j + 1 on, and below the lower one of grades j + 2 on.
        in_upper, in_lower = (grade > j) * gap[:, j, None], (grade > j + 1) * gap[:, j, None]
        first[:, 1 + j] = above * in_upper - below * in_lower
        second[:, 0, 1 + j] = second[:, 1 + j, 0] = -bend_above * in_upper - bend_below * in_lower
        for i in range(j + 1):
            both = bend_above * (grade > i) * in_upper + bend_below * (grade > i + 1) * in_lower
            second[:, 1 + i, 1 + j] = second[:, 1 + j, 1 + i] = gap[:, i, None] * both
        second[:, 1 + j, 1 + j] += first[:, 1 + j]
        own = grade == j + 1
        w = gap[:, j, None]
        pull = w / np.expm1(np.maximum(w, 1e-300))
        first[:, 1 + j] += own * pull
        second[:, 1 + j, 1 + j] += own * pull * (1.0 - w - pull)
    return first, second


def central_differences(rows: Callable[[Array, Array], Array], eta: Array, shape: Array) -> tuple[Array, Array]:
    """First (m, 1+q, n) and second (m, 1+q, 1+q, n) derivatives of rows(eta (..., n), shape (..., q)) -> (..., n)."""
    (m, n), v = eta.shape, 1 + shape.shape[1]
    moves = _moves(v)
    f = rows(eta[None] + _STEP * moves[:, 0, None, None], shape[None] + _STEP * moves[:, None, 1:])
    first, second = np.empty((m, v, n)), np.empty((m, v, v, n))
    for i in range(v):
        up, down = f[1 + 2 * i], f[2 + 2 * i]
        first[:, i] = (up - down) / (2.0 * _STEP)
        second[:, i, i] = (up - 2.0 * f[0] + down) / _STEP**2
    at = 1 + 2 * v
    for i in range(v):
        for j in range(i):
            mixed = (f[at] - f[at + 1] - f[at + 2] + f[at + 3]) / (4.0 * _STEP**2)
            second[:, i, j] = second[:, j, i] = mixed
            at += 4
    return first, second


def _moves(v: int) -> Array:
    """Points of the central differences: the centre, both ways along each axis, four ways in each plane."""
    unit = np.eye(v)
    points = [np.zeros(v)]
    for i in range(v):
        points += [unit[i], -unit[i]]
    for i in range(v):
        for j in range(i):
            points += [unit[i] + unit[j], unit[i] - unit[j], unit[j] - unit[i], -unit[i] - unit[j]]
    return np.array(points)

"""Logarithms of chances that keep their digits far out in the tails."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

__all__ = ["log_grade_chances", "log_interval_chance", "softplus"]

Array = NDArray[np.float64]


def softplus(x: Array) -> Array:
    """log (1 + e^x); to rounding of the larger term, and twice as fast as logaddexp."""
    y = np.abs(x)
    np.negative(y, out=y)
    np.exp(y, out=y)
    np.log1p(y, out=y)
    y += np.maximum(x, 0.0)
    return y


def log_grade_chances(eta: Array, shape: Array) -> Array:
    """Log chance of every grade: eta (..., n), gaps' logs (..., G-2) -> (..., n, G)."""
    gap = np.exp(shape)[..., None, :]
    zero = np.zeros((*gap.shape[:-1], 1))
    k = np.concatenate([zero, np.cumsum(gap, axis=-1)], axis=-1) - eta[..., None]
    at_most = -softplus(-k)  # log P(y <= c)
    above = -softplus(k)  # log P(y > c)
    inside = at_most[..., 1:] + above[..., :-1] + np.log(-np.expm1(-np.maximum(gap, 1e-300)))
    return np.concatenate([at_most[..., :1], inside, above[..., -1:]], axis=-1)


def log_interval_chance(low: Array, high: Array) -> tuple[Array, Array]:
    """Logs of P(low <= Z <= high) and of its complement, Z standard normal, low < high."""
    # In the upper tail work with the mirror image, where both terms keep their digits.
    with np.errstate(invalid="ignore"):
        flip = low + high > 0
    a, b = np.where(flip, -high, low), np.where(flip, -low, high)
    upper, lower = log_ndtr(b), log_ndtr(a)
    with np.errstate(divide="ignore"):
        inside = upper + np.log(-np.expm1(np.minimum(lower - upper, 0.0)))
    return np.maximum(inside, -1e300), np.logaddexp(log_ndtr(low), log_ndtr(-high))

"""What simulated series say of intervals and chances: coverage, reliability, Brier scores, each with its error.

Settings of one series share a truth and a fit, so every Monte Carlo error here is that of a mean over series
(a ratio estimator; the sandwich with one cluster a series for the reliability slope).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

__all__ = ["ROUNDING", "Figure", "Played", "brier", "brier_gain", "chances_covered", "reliability", "slopes_covered"]

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

ROUNDING = 1e-9  # chances that differ by less are the same: near 0 and 1 the last digits of a difference are noise
_SUREST = 1e-6  # a stated chance of 0 or 1 has no logit


@dataclass(frozen=True, slots=True, eq=False)
class Played:
    """One simulated series, judged.

    Attributes
    ----------
    slopes : (p,) whether the interval of each slope holds the true one.
    chances : (m,) whether the interval of the chance holds the true one, at m fresh settings.
    stated, true : (m,) posterior mean of the chance there, and the true one.
    seen : (m,) a simulated outcome at each, 0 or 1.
    rivals : the chances that other classifiers state there, by name.
    seconds : processor time of the fit.
    """

    slopes: BoolArray
    chances: BoolArray
    stated: Array
    true: Array
    seen: Array
    seconds: float
    rivals: Mapping[str, Array] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Figure:
    """A simulated figure and its Monte Carlo standard error."""

    value: float
    error: float

    def within(self, low: float, high: float, errors: float = 0.0) -> bool:
        """Whether the value lies in [low, high] widened by so many standard errors."""
        return low - errors * self.error <= self.value <= high + errors * self.error


def slopes_covered(played: Sequence[Played]) -> Figure:
    """Share of true slopes inside their intervals."""
    return _share([one.slopes for one in played])


def chances_covered(played: Sequence[Played]) -> Figure:
    """Share of true chances inside their intervals."""
    return _share([one.chances for one in played])


def _share(inside: Sequence[BoolArray]) -> Figure:
    """Ratio of two totals over series, with the usual linearised error."""
    hits = np.array([part.sum() for part in inside], dtype=float)
    tried = np.array([part.size for part in inside], dtype=float)
    share = hits.sum() / tried.sum()
    return Figure(float(share), float(np.sqrt(np.sum((hits - share * tried) ** 2)) / tried.sum()))


def brier(played: Sequence[Played], rival: str | None = None) -> Figure:
    """Mean expected Brier score E (Y - q)^2 = p (1 - p) + (p - q)^2 of the stated chances q, or of a rival's."""
    return _mean([_expected_brier(one, rival) for one in played])


def brier_gain(played: Sequence[Played], rival: str) -> Figure:
    """How much lower the program's expected Brier score is than a rival's on the same series."""
    return _mean([_expected_brier(one, rival) - _expected_brier(one, None) for one in played])


def _expected_brier(one: Played, rival: str | None) -> float:
    stated = one.stated if rival is None else one.rivals[rival]
    return float(np.mean(one.true * (1.0 - one.true) + (one.true - stated) ** 2))


def _mean(values: Sequence[float]) -> Figure:
    return Figure(float(np.mean(values)), float(np.std(values, ddof=1) / np.sqrt(len(values))))


def reliability(played: Sequence[Played]) -> Figure:
    """Slope of the logistic regression of simulated outcomes on the logit of the stated chance; 1 is calibrated.

    Below 1 the stated chances are too bold, above 1 too timid (Cox 1958, Biometrika 45, 562-565, from memory).
    """
    series = np.repeat(np.arange(len(played)), [one.stated.size for one in played])
    stated = np.clip(np.concatenate([one.stated for one in played]), _SUREST, 1.0 - _SUREST)
    X = np.column_stack([np.ones(stated.size), logit(stated)])
    y = np.concatenate([one.seen for one in played])
    beta = np.array([0.0, 1.0])
    for _ in range(50):
        p = expit(X @ beta)
        information = (X * (p * (1.0 - p))[:, None]).T @ X
        step = np.linalg.solve(information, X.T @ (y - p))
        beta = beta + step
        if np.abs(step).max() < 1e-10:
            break
    bread = np.linalg.inv(information)
    scores = np.zeros((len(played), 2))
    np.add.at(scores, series, X * (y - expit(X @ beta))[:, None])
    covariance = bread @ (scores.T @ scores) @ bread
    return Figure(float(beta[1]), float(np.sqrt(covariance[1, 1])))

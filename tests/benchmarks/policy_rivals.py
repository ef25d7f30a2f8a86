"""Ways of choosing melts that the program is compared with: each sees whole successes and failures of its melts.

Every rival may look at all settings that keep the limits, may ignore that firings share settings, and recommends anew
after every melt. One factor at a time also sees how far each melt got.
"""

from __future__ import annotations

import warnings
from abc import ABC, abstractmethod
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.stats import norm, qmc
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessClassifier
from sklearn.gaussian_process.kernels import RBF, ConstantKernel
from sklearn.linear_model import LogisticRegression

from meltdoe.plans import fraction
from meltdoe.series import Amount, Choice, MeltSeries

__all__ = ["RIVALS", "Rival"]

Array = NDArray[np.float64]


class Rival(ABC):
    """A rival at work on one series.

    Parameters
    ----------
    candidates : (n, n_factors) every setting that may be melted or recommended.
    """

    def __init__(self, series: MeltSeries, candidates: Array, rng: np.random.Generator) -> None:
        self.series, self.candidates, self.rng = series, candidates, rng
        self.raw = np.empty((0, len(series.factors)))
        self.got = np.empty(0)  # outcomes good in each melt

    def saw(self, raw: Array, got: float) -> None:
        self.raw, self.got = np.vstack([self.raw, raw]), np.append(self.got, got)

    @abstractmethod
    def next(self) -> Array:
        """Where to melt."""

    @abstractmethod
    def recommended(self) -> Array:
        """The setting held to be the best so far."""

    def columns(self, raw: Array) -> Array:
        return np.hstack([self.series.coding.factor_columns(name, raw) for name in self.series.factor_names])

    def snapped(self, unit: Array) -> Array:
        """Settings from numbers in 0..1."""
        return np.column_stack(
            [
                factor.snap(factor.low + unit[:, i] * (factor.high - factor.low))
                if isinstance(factor, Amount)
                else np.minimum(np.floor(unit[:, i] * len(factor.options)), len(factor.options) - 1)
                for i, factor in enumerate(self.series.factors)
            ]
        )


class OneFactor(Rival):
    """From the middle, each factor in turn over its ends and middle (or options); what got furthest is kept.

    A setting counts by the mean of all its melts, so that one lucky melt does not stand for ever; rounds follow one
    another, in each of which the setting kept is melted once more.
    """

    def __init__(self, series: MeltSeries, candidates: Array, rng: np.random.Generator) -> None:
        super().__init__(series, candidates, rng)
        self.here = self.snapped(np.full((1, len(series.factors)), 0.5))[0]
        self.queue: list[Array] = [self.here]
        self.order: list[int] = []

    def _mean(self, row: Array) -> float:
        same = np.all(self.raw == row, axis=1)
        return float(self.got[same].mean()) if same.any() else -1.0

    def next(self) -> Array:
        while not self.queue:
            if not self.order:
                self.order = list(self.rng.permutation(len(self.series.factors)))
                self.queue = [self.here]
            else:
                i = self.order.pop()
                grid = self.snapped(np.tile([[0.0], [0.5], [1.0]], (1, len(self.series.factors))))[:, i]
                factor = self.series.factors[i]
                values = factor.grid() if isinstance(factor, Choice) else np.unique(grid)
                for value in values[values != self.here[i]]:
                    other = self.here.copy()
                    other[i] = value
                    self.queue.append(other)
        return self.queue.pop(0)

    def saw(self, raw: Array, got: float) -> None:
        super().saw(raw, got)
        if self._mean(raw) > self._mean(self.here):
            self.here = raw
        elif not np.array_equal(raw, self.here):
            return
        else:  # the setting kept was melted again: another one may stand higher now
            means = [self._mean(row) for row in self.raw]
            if max(means) > self._mean(self.here):
                self.here = self.raw[int(np.argmax(means))]

    def recommended(self) -> Array:
        return self.here


class _Started(Rival):
    """A start, then always the setting that looks best."""

    def __init__(self, series: MeltSeries, candidates: Array, rng: np.random.Generator) -> None:
        super().__init__(series, candidates, rng)
        self.start = list(self.first())
        self.looked: tuple[int, Array | None] | None = None

    @abstractmethod
    def first(self) -> Array:
        """The settings of the start."""

    @abstractmethod
    def score(self, good: Array) -> Array:
        """Predicted chance of each candidate, in any unit, from which melts were good."""

    def scores(self) -> Array | None:
        """None while all melts got equally far. Before the first success, getting further is what is aimed at."""
        if self.looked is None or self.looked[0] != len(self.got):
            furthest = self.got.max(initial=0.0)
            good = np.asarray(self.got >= furthest)
            self.looked = (len(self.got), None if good.all() else self.score(good))
        return self.looked[1]

    def top(self, score: Array) -> Array:
        best = np.flatnonzero(score >= score.max() - 1e-9)
        return self.candidates[int(self.rng.choice(best))]

    def somewhere(self) -> Array:
        return self.candidates[int(self.rng.integers(len(self.candidates)))]

    def next(self) -> Array:
        if self.start:
            return self.start.pop(0)
        score = self.scores()
        return self.somewhere() if score is None else self.top(score)

    def recommended(self) -> Array:
        score = self.scores()
        return self.raw[int(np.argmax(self.got))] if score is None else self.top(score)


class _Logistic(_Started):
    """Ridge logistic regression (scikit-learn, C = 1) on main effects, all products, and squares of amounts."""

    def score(self, good: Array) -> Array:
        model = LogisticRegression(C=1.0, max_iter=500).fit(self.model(self.raw), good)
        return np.asarray(model.decision_function(self.model(self.candidates)))

    def model(self, raw: Array) -> Array:
        blocks = [self.series.coding.factor_columns(name, raw) for name in self.series.factor_names]
        squares = [b**2 for b, f in zip(blocks, self.series.factors, strict=True) if isinstance(f, Amount)]
        products = [(a[:, :, None] * b[:, None, :]).reshape(len(raw), -1) for a, b in combinations(blocks, 2)]
        return np.hstack([*blocks, *products, *squares])


class FractionGreedy(_Logistic):
    """A two-level fraction of resolution IV (half of 2^4, or 16 melts for more factors), then the best predicted.

    A choice of three options takes two columns, their four pairings dealt to the options.
    """

    def first(self) -> Array:
        width = [2 if isinstance(f, Choice) and len(f.options) > 2 else 1 for f in self.series.factors]
        columns = sum(width)
        runs = 8 if columns <= 4 else 16
        table = fraction(columns, runs).table[self.rng.permutation(runs)]
        unit, at = np.empty((runs, len(width))), 0
        for i, taken in enumerate(width):
            one = (table[:, at] + 1.0) / 2.0
            if taken == 2:
                options = len(self.series.factors[i].options)  # type: ignore[union-attr]
                one = ((2.0 * one + (table[:, at + 1] + 1.0) / 2.0) % options + 0.5) / options
            unit[:, i] = one
            at += taken
        return self.snapped(unit)


def _latin(policy: Rival) -> Array:
    """Two melts a factor, at least six, spread as a Latin hypercube."""
    k = len(policy.series.factors)
    return policy.snapped(qmc.LatinHypercube(k, seed=policy.rng).random(max(6, 2 * k)))


class LatinLogistic(_Logistic):
    """A Latin hypercube, then the best predicted of a logistic regression fitted anew after every melt."""

    def first(self) -> Array:
        return _latin(self)


class LatinGaussianProcess(_Started):
    """A Latin hypercube, then expected improvement of the latent value of a Gaussian-process classifier.

    One length per coded column, fitted anew after every melt (Rasmussen & Williams 2006, algorithms 3.1 and 3.2, as
    scikit-learn has them); improvement over the best latent mean among the settings melted.
    """

    def first(self) -> Array:
        return _latin(self)

    def _fitted(self, good: Array) -> tuple[Array, Array, float]:
        X, Z = self.columns(self.raw), self.columns(self.candidates)
        kernel = ConstantKernel(4.0, (0.1, 100.0)) * RBF(np.ones(X.shape[1]), (0.2, 10.0))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ConvergenceWarning)
            model = GaussianProcessClassifier(kernel).fit(X, good).base_estimator_
        across = model.kernel_(Z, model.X_train_)
        mean = across @ (model.y_train_ - model.pi_)
        v = solve_triangular(model.L_, (model.W_sr_[:, None] * across.T), lower=True)
        variance = np.maximum(model.kernel_.diag(Z) - (v**2).sum(axis=0), 1e-12)
        here = model.kernel_(X, model.X_train_) @ (model.y_train_ - model.pi_)
        return np.asarray(mean), np.sqrt(variance), float(here.max())

    def score(self, good: Array) -> Array:
        mean, sd, best = self._fitted(good)
        z = (mean - best) / sd
        self.improvement = sd * (z * norm.cdf(z) + norm.pdf(z))
        return np.asarray(mean / np.sqrt(1.0 + np.pi * sd**2 / 8.0))  # order of the averaged chance (MacKay 1992)

    def next(self) -> Array:
        if self.start:
            return self.start.pop(0)
        return self.somewhere() if self.scores() is None else self.top(self.improvement)


RIVALS: dict[str, type[Rival]] = {
    "one factor at a time": OneFactor,
    "fraction, then greedy": FractionGreedy,
    "Latin hypercube, logistic": LatinLogistic,
    "Latin hypercube, Gaussian process": LatinGaussianProcess,
}

"""Pass/fail, graded and measured outcomes of one melt, all through one linear predictor.

For melt i with model-matrix row x_i (first column ones) and firing g(i)

    eta_i = x_i' b + exp(tau) z_g(i)          (the second part only where firings are modelled)

    pass      P(y = 1) = F(eta),  F the logistic function; y may be a count out of several trials
    grade     P(y <= c) = F(k_c - eta),  c = 0 (best) .. G-2;  k_0 = 0, k_c = k_(c-1) + exp(gap_c)
    measured  y ~ N(eta, sigma^2), log sigma a parameter; a censored value counts P(y beyond it)

The first threshold of a graded outcome is minus the intercept, so that all kinds share one model matrix, a
larger eta means worse grades, and two grades are the same model as pass/fail with "worse" as the pass.
Grades that nobody has seen keep their place: their gap is known from the prior alone.

theta = (b [p], shape [gaps or log sigma], tau [1], z [firings]) is a row vector; several parameter vectors are
stacked as (m, d) and every function works on the stack.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, TypedDict, Unpack, assert_never, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr, logsumexp

from meltdoe.fit.model.log_chances import log_grade_chances, log_interval_chance, softplus
from meltdoe.fit.model.prior import Belief
from meltdoe.fit.model.row_derivatives import central_differences, grade_derivatives, grade_slopes, pass_slopes
from meltdoe.series.outcome import OutcomeKind

__all__ = ["Likelihood", "Observed", "make_likelihood"]

Array = NDArray[np.float64]


class Observed(TypedDict, total=False):
    """What may be said about the rows beside X and y; everything may be left out.

    trials : (n,) trials behind each row (pass).
    groups : (n,) firing of each row counted from 0, -1 for none; gives firings an effect of their own.
    censored : (n,) -1 where the value is at or below y, +1 at or above (measured).
    bounds : smallest and largest readable value; values there count as censored (measured).
    n_grades : number of grades, seen or not (grade).
    beliefs : beliefs about chances, in the outcome's own units.
    centre, scale : a typical value and a typical spread, in whose units the prior of a measured outcome is
        meant. Better stated than left to the data; where bounds are given, their middle and a quarter of
        their distance are used, otherwise mean and sd of y.
    """

    trials: ArrayLike | None
    groups: ArrayLike | None
    censored: ArrayLike | None
    bounds: tuple[float, float] | None
    n_grades: int | None
    beliefs: Sequence[Belief]
    centre: float
    scale: float


class Derivatives(NamedTuple):
    """Log likelihood (m,), its gradient (m, d) and second derivatives (m, d, d)."""

    value: Array
    gradient: Array
    hessian: Array


@dataclass(frozen=True, slots=True, eq=False)
class Likelihood:
    """What has been seen of one outcome.

    Attributes
    ----------
    kind : kind of the outcome.
    X : (n, p) rows of the melts, then rows of the beliefs.
    y : (n_melts,) passes, grade indices, or measured values.
    trials : (n_melts,) trials behind each row (pass only; ones elsewhere).
    censored : (n_melts,) -1 at or below y, +1 at or above y, 0 seen (measured only).
    groups : (n,) firing of each row counted from 0, -1 for none.
    n_groups : number of firings; 0 where they are not modelled.
    n_grades : number of grades (grade only).
    beliefs : beliefs, in the order of their rows.
    bounds : smallest and largest value that can be read (measured only).
    centre, scale : y is held as (value - centre) / scale (measured only; 0 and 1 elsewhere).
    """

    kind: OutcomeKind
    X: Array
    y: Array
    trials: Array
    censored: NDArray[np.int_]
    groups: NDArray[np.int_]
    n_groups: int
    n_grades: int
    beliefs: tuple[Belief, ...]
    bounds: tuple[float, float]
    centre: float
    scale: float

    @property
    def n_coef(self) -> int:
        """Number of coefficients, p."""
        return int(self.X.shape[1])

    @property
    def n_shape(self) -> int:
        """Number of shape parameters: gaps of grades, or log sigma."""
        return {"pass": 0, "grade": max(0, self.n_grades - 2), "measured": 1}[self.kind]

    @property
    def size(self) -> int:
        """Length of theta."""
        return self.n_coef + self.n_shape + (1 + self.n_groups if self.n_groups else 0)

    def linear_predictor(self, theta: Array) -> Array:
        """(m, n) eta of every row under each of (m, d) parameter vectors."""
        eta = theta[:, : self.n_coef] @ self.X.T
        if self.n_groups:
            start = self.n_coef + self.n_shape
            z = np.concatenate([theta[:, start + 1 :], np.zeros((len(theta), 1))], axis=1)
            # Index -1 (no firing) falls on the zero just appended.
            eta += np.exp(theta[:, start, None]) * z[:, self.groups]
        return np.asarray(eta)

    def shape(self, theta: Array) -> Array:
        """(m, n_shape) shape parameters."""
        return theta[:, self.n_coef : self.n_coef + self.n_shape]

    def log_likelihood(self, theta: Array) -> Array:
        """(m,) log likelihood of (m, d) parameter vectors, beliefs included."""
        # Far out a scale may overflow; -inf or nan then says "not here" to climbers and chains alike.
        with np.errstate(over="ignore", invalid="ignore"):
            return np.asarray(self.rows(self.linear_predictor(theta), self.shape(theta)).sum(axis=-1))

    def log_belief(self, theta: Array) -> Array:
        """(m,) log likelihood of the beliefs alone, of a graded or measured outcome."""
        believed = self._belief_rows(self.linear_predictor(theta)[:, self.y.size :], self.shape(theta))
        return np.asarray(believed.sum(axis=1))

    def rows(self, eta: Array, shape: Array) -> Array:
        """Log likelihood of each row: eta (..., n), shape (..., n_shape) -> (..., n)."""
        n = self.y.size
        if self.kind == "pass":
            # Beliefs are rows with fractional passes, already in y and trials.
            return np.asarray(self.y * eta - self.trials * softplus(eta))
        if self.kind == "grade":
            melts = self._grade_rows(eta[..., :n], shape)
        elif self.kind == "measured":
            melts = self._measured_rows(eta[..., :n], shape)
        else:
            assert_never(self.kind)
        if not self.beliefs:
            return melts
        return np.concatenate([melts, self._belief_rows(eta[..., n:], shape)], axis=-1)

    def _grade_rows(self, eta: Array, shape: Array) -> Array:
        grade = self.y.astype(int)
        gap = np.exp(shape)
        zero = np.zeros((*shape.shape[:-1], 1))
        end = np.full_like(zero, np.inf)
        k = np.concatenate([-end, zero, np.cumsum(gap, axis=-1), end], axis=-1)
        width = np.concatenate([end, gap, end], axis=-1)[..., grade]
        upper, lower = k[..., grade + 1] - eta, k[..., grade] - eta
        # log (F(a) - F(b)) = log F(a) + log F(-b) + log (1 - e^(b-a)): differences of F would underflow.
        inside = np.log(-np.expm1(-np.maximum(width, 1e-300)))
        return np.asarray(inside - softplus(-upper) - softplus(lower))

    def _measured_rows(self, eta: Array, shape: Array) -> Array:
        r = (self.y - eta) * np.exp(-shape)
        seen = -0.5 * r * r - shape - 0.5 * np.log(2.0 * np.pi)
        if not self.censored.any():
            return np.asarray(seen)
        # At or below y: Phi(r); at or above y: Phi(-r).
        at = np.flatnonzero(self.censored)
        seen[..., at] = log_ndtr(-self.censored[at] * r[..., at])
        return np.asarray(seen)

    def _belief_rows(self, eta: Array, shape: Array) -> Array:
        believed = [self._belief_row(belief, eta[..., i], shape) for i, belief in enumerate(self.beliefs)]
        return np.stack(believed, axis=-1)

    def _belief_row(self, belief: Belief, eta: Array, shape: Array) -> Array:
        if self.kind == "grade":
            logs = log_grade_chances(eta[..., None], shape)[..., 0, :]
            good = np.isin(np.arange(self.n_grades), np.asarray(belief.good, dtype=int))
            is_good = logsumexp(logs[..., good], axis=-1)
            is_bad = logsumexp(logs[..., ~good], axis=-1)
        else:
            assert self.kind == "measured"
            assert belief.good is not None
            low, high = belief.good
            sigma = np.exp(shape[..., 0])
            is_good, is_bad = log_interval_chance((low - eta) / sigma, (high - eta) / sigma)
        return np.asarray(belief.successes * is_good + belief.failures * is_bad)

    def derivatives(self, theta: Array) -> Derivatives:
        """Value, gradient and second derivatives at each of (m, d) parameter vectors, by the chain rule from rows."""
        m, d = theta.shape
        p, q = self.n_coef, self.n_shape
        eta, shape = self.linear_predictor(theta), self.shape(theta)
        with np.errstate(over="ignore", invalid="ignore"):
            value = self.rows(eta, shape).sum(axis=-1)
            first, second = self.row_derivatives(eta, shape)

        # d eta / d theta, (m, n, d).
        J = np.zeros((m, self.X.shape[0], d))
        J[:, :, :p] = self.X
        tau = p + q
        if self.n_groups:
            spread = np.exp(theta[:, tau])
            J[:, :, tau] = eta - theta[:, :p] @ self.X.T
            member = (self.groups[:, None] == np.arange(self.n_groups)).astype(float)
            J[:, :, tau + 1 :] = spread[:, None, None] * member
        gradient = np.einsum("mn,mnd->md", first[:, 0], J)
        hessian = np.swapaxes(J, 1, 2) @ (second[:, 0, 0, :, None] * J)
        if q:
            gradient[:, p:tau] += first[:, 1:].sum(axis=-1)
            mixed = np.einsum("mqn,mnd->mqd", second[:, 0, 1:], J)
            hessian[:, p:tau, :] += mixed
            hessian[:, :, p:tau] += np.swapaxes(mixed, 1, 2)
            hessian[:, p:tau, p:tau] += second[:, 1:, 1:].sum(axis=-1)
        if self.n_groups:
            # exp(tau) z has second derivatives of its own: exp(tau) z in tau, exp(tau) in tau and z.
            hessian[:, tau, tau] += np.einsum("mn,mn->m", first[:, 0], J[:, :, tau])
            cross = np.einsum("mn,mng->mg", first[:, 0], J[:, :, tau + 1 :])
            hessian[:, tau, tau + 1 :] += cross
            hessian[:, tau + 1 :, tau] += cross
        return Derivatives(value, gradient, hessian)

    def slopes(self, eta: Array, shape: Array) -> tuple[Array, Array]:
        """First and second derivatives (..., n) in eta (..., n) of the rows of y, pass or grade."""
        if self.kind == "pass":
            return pass_slopes(self.y, self.trials, eta)
        assert self.kind == "grade"
        return grade_slopes(self.y.astype(int), eta, shape)

    def row_derivatives(self, eta: Array, shape: Array) -> tuple[Array, Array]:
        """First (m, 1+q, n) and second (m, 1+q, 1+q, n) derivatives in (eta, shape)."""
        if self.kind == "pass":
            first, second = pass_slopes(self.y, self.trials, eta)
            return first[:, None], second[:, None, None]
        if self.kind == "measured":
            return central_differences(self.rows, eta, shape)
        if self.kind != "grade":
            assert_never(self.kind)
        n = self.y.size
        melts = grade_derivatives(self.y.astype(int), eta[:, :n], shape)
        if not self.beliefs:
            return melts
        believed = central_differences(self._belief_rows, eta[:, n:], shape)
        return np.concatenate([melts[0], believed[0]], axis=-1), np.concatenate([melts[1], believed[1]], axis=-1)


def make_likelihood(X: ArrayLike, y: ArrayLike, kind: OutcomeKind = "pass", **observed: Unpack[Observed]) -> Likelihood:
    """Check the data and put them together.

    Parameters
    ----------
    X : (n, p) coded terms of the melts whose outcome was seen; n may be 0.
    y : (n,) outcomes: 0/1 or passes out of `trials`; grade indices, 0 the best; or measured values.
    kind : "pass", "grade" or "measured".
    observed : see `Observed`.

    Raises
    ------
    ValueError : shapes or values that do not fit.
    """
    design, values = np.atleast_2d(np.asarray(X, dtype=float)), np.asarray(y, dtype=float).reshape(-1)
    n = values.size
    if design.shape[0] != n:
        raise ValueError(f"X has {design.shape[0]} rows and y {n}")
    beliefs = tuple(observed.get("beliefs", ()))
    trials = _per_row(observed.get("trials"), n, 1.0, "trials")
    censored = _per_row(observed.get("censored"), n, 0.0, "censored").astype(int)
    groups = _per_row(observed.get("groups"), n, -1.0, "groups").astype(int)
    if not (np.isfinite(design).all() and np.isfinite(values).all()):
        raise ValueError("X and y must be finite: leave out melts whose outcome was not seen")
    if kind not in get_args(OutcomeKind):
        raise ValueError(f"kind must be one of {', '.join(get_args(OutcomeKind))}, not {kind!r}")
    if kind != "pass" and any(belief.good is None for belief in beliefs):
        raise ValueError(f"a belief about a {kind} outcome must say what is good")
    if any(np.asarray(belief.row).shape != design.shape[1:] for belief in beliefs):
        raise ValueError(f"the row of a belief must have {design.shape[1]} entries")
    if kind == "pass" and np.any((values < 0) | (values > trials)):
        raise ValueError("passes must lie between 0 and the number of trials")
    if kind != "pass" and not np.all(design[:, :1] == 1.0):
        raise ValueError("the first column of X must be ones: it carries the first threshold or the mean")

    grades, bounds, centre, scale = 0, (-np.inf, np.inf), 0.0, 1.0
    if kind == "grade":
        grades = observed.get("n_grades") or int(values.max(initial=1.0)) + 1
        if grades < 2 or np.any((values != np.round(values)) | (values < 0) | (values >= grades)):
            raise ValueError(f"grades must be whole numbers from 0 to {grades - 1}")
        if any(len(set(belief.good or ()) & set(range(grades))) in (0, grades) for belief in beliefs):
            raise ValueError("a belief must call some grades good and some not")
    elif kind == "measured":
        bounds = observed.get("bounds") or bounds
        centre, scale = _units(values[censored == 0], bounds, observed)
        censored = np.where(values <= bounds[0], -1, np.where(values >= bounds[1], 1, censored))
        values = (values - centre) / scale
        beliefs = tuple(_in_units(belief, bounds, centre, scale) for belief in beliefs)

    if beliefs:
        design = np.vstack([design, *(np.asarray(belief.row, dtype=float)[None] for belief in beliefs)])
        groups = np.concatenate([groups, np.full(len(beliefs), -1)])
        if kind == "pass":
            values = np.concatenate([values, [belief.successes for belief in beliefs]])
            trials = np.concatenate([trials, [belief.worth for belief in beliefs]])
    n_groups = int(groups.max(initial=-1)) + 1
    return Likelihood(kind, design, values, trials, censored, groups, n_groups, grades, beliefs, bounds, centre, scale)


def _per_row(given: ArrayLike | None, n: int, default: float, what: str) -> Array:
    if given is None:
        return np.full(n, default)
    array = np.asarray(given, dtype=float)
    if array.shape != (n,):
        raise ValueError(f"{what} must have one entry a row")
    return array


def _units(seen: Array, bounds: tuple[float, float], observed: Observed) -> tuple[float, float]:
    """Centre and scale of a measured outcome: as given, else from its bounds, else from the data."""
    low, high = bounds
    if np.isfinite(low) and np.isfinite(high):
        centre, scale = 0.5 * (low + high), 0.25 * (high - low)
    else:
        centre = float(seen.mean()) if seen.size else 0.0
        scale = float(seen.std(ddof=1)) if seen.size > 1 else 1.0
    centre, scale = observed.get("centre", centre), observed.get("scale", scale or 1.0)
    if not scale > 0:
        raise ValueError(f"scale must be above 0, not {scale}")
    return centre, scale


def _in_units(belief: Belief, bounds: tuple[float, float], centre: float, scale: float) -> Belief:
    assert belief.good is not None
    low, high = belief.good
    if not low < high:
        raise ValueError(f"the good values of a belief must run upwards, not from {low} to {high}")
    # A good range that reaches a bound takes in everything that piles up there.
    low = -np.inf if low <= bounds[0] else low
    high = np.inf if high >= bounds[1] else high
    return replace(belief, good=((low - centre) / scale, (high - centre) / scale))

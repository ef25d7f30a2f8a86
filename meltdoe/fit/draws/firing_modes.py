"""Modes of pass/fail and graded outcomes under many Gaussian priors at once, the sd of firings held.

Parameters are a, the coefficients and log gaps, and a z of each firing, independent a priori. No two firings share a
row, so that minus the second derivatives are

    H = [S + B' C^-1 B, B'; B, C],   C diagonal,

and each step of Newton's method takes one solution with the Schur complement S, whose inverse is also the covariance of
a with all z integrated out.

A posterior that leans to one side has its mean away from the mode. `mean_held` moves on to the Gaussian nearest in
Kullback-Leibler divergence, whose mean and precision solve the same equations with the derivatives averaged over the
spread of the linear predictor (Opper & Archambeau 2009, Neural Comput. 21, 786-792, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meltdoe.fit.draws.stacked_roots import log_determinants, positive_roots, solve_with, spread_of
from meltdoe.fit.model.likelihood import Likelihood

__all__ = ["FiringModes", "climb_held", "mean_held"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int_]

_NEAR = 1e-3  # twice the height that a mode to propose around may miss
_MOST_STEPS = 40
_MOST_HALVINGS = 20
_MEAN_STEPS = 2  # from a mode towards the mean; four made proposals hardly better
_FARTHEST = 10.0  # of those steps, in sds of the Gaussian they lead to; few are longer than 5
_NODES = np.array([-np.sqrt(3.0), 0.0, np.sqrt(3.0)])  # Gauss-Hermite rule of three nodes, and its weights
_WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6.0


@dataclass(frozen=True, slots=True, eq=False)
class FiringModes:
    """Modes under m priors.

    Attributes
    ----------
    a : (m, r) coefficients and log gaps. z : (m, G) effects of firings in units of their sd.
    precision : (m, r, r) of a, z integrated out.
    log_evidence : (m,) Laplace approximations of log p(y).
    """

    a: Array
    z: Array
    precision: Array
    log_evidence: Array


class _Surface:
    """Log posterior of (a, z) under m priors, up to the constants of the priors."""

    def __init__(self, likelihood: Likelihood, mean: Array, precision: Array, spread: Array) -> None:
        n, p = likelihood.X.shape
        self.likelihood, self.mean, self.precision, self.spread = likelihood, mean, precision, spread[:, None]
        self.X = likelihood.X
        self.member = (likelihood.groups[:, None] == np.arange(likelihood.n_groups)).astype(float)
        self.squares = (self.X[:, :, None] * self.X[:, None, :]).reshape(n, p * p)
        self.shared = (self.member[:, :, None] * self.X[:, None, :]).reshape(n, likelihood.n_groups * p)

    def eta(self, a: Array, z: Array, at: IntArray) -> Array:
        return np.asarray(a[:, : self.X.shape[1]] @ self.X.T + self.spread[at] * (z @ self.member.T))

    def height(self, a: Array, z: Array, at: IntArray) -> Array:
        prior = np.sum(self.precision[at] * (a - self.mean) ** 2, axis=1) + np.sum(z**2, axis=1)
        with np.errstate(over="ignore", invalid="ignore"):
            rows = self.likelihood.rows(self.eta(a, z, at), a[:, self.X.shape[1] :])
        return np.asarray(rows.sum(axis=1) - 0.5 * prior)

    def scatter(self, root: Array, B: Array, C: Array, at: IntArray) -> Array:
        """Sds (k, n) of the linear predictor under the Gaussian with these parts of H, S = root root'."""
        weight = np.zeros((len(self.X), root.shape[1]))
        weight[:, : self.X.shape[1]] = self.X
        if not self.member.size:
            return np.sqrt(spread_of(root, weight))
        own = self.spread[at] / C
        variance = spread_of(root, weight - self.member @ (own[:, :, None] * B))
        return np.asarray(np.sqrt(variance + (self.spread[at] * own) @ self.member.T))

    def bends(
        self, a: Array, z: Array, at: IntArray, scatter: Array | None = None
    ) -> tuple[Array, Array, Array, Array, Array]:
        """Gradients in a (k, r) and z (k, G); S (k, r, r), B (k, G, r), C (k, G).

        With `scatter` (k, n), sds of the linear predictor, likelihoods are averaged over it.
        """
        p, k, r, spread = self.X.shape[1], len(a), a.shape[1], self.spread[at]
        eta = self.eta(a, z, at)
        with np.errstate(over="ignore", invalid="ignore"):
            if scatter is None:
                first, second = self.likelihood.row_derivatives(eta, a[:, p:])
            else:
                parts = [self.likelihood.row_derivatives(eta + node * scatter, a[:, p:]) for node in _NODES]
                first = sum(w * part[0] for w, part in zip(_WEIGHTS, parts, strict=True))
                second = sum(w * part[1] for w, part in zip(_WEIGHTS, parts, strict=True))
        slope_a = np.concatenate([first[:, 0] @ self.X, first[:, 1:].sum(axis=-1)], axis=1)
        slope_a -= self.precision[at] * (a - self.mean)
        slope_z = spread * (first[:, 0] @ self.member) - z
        H = np.zeros((k, r, r))
        H[:, :p, :p] = -(second[:, 0, 0] @ self.squares).reshape(k, p, p)
        H[:, p:, :p] = -(second[:, 0, 1:] @ self.X)
        H[:, :p, p:] = np.swapaxes(H[:, p:, :p], 1, 2)
        H[:, p:, p:] = -second[:, 1:, 1:].sum(axis=-1)
        H[:, range(r), range(r)] += self.precision[at]
        if not z.size:
            return slope_a, slope_z, H, np.empty((k, 0, r)), np.empty((k, 0))
        C = 1.0 - spread**2 * (second[:, 0, 0] @ self.member)
        B = np.zeros((k, z.shape[1], r))
        B[:, :, :p] = -(second[:, 0, 0] @ self.shared).reshape(k, z.shape[1], p)
        B[:, :, p:] = -np.swapaxes(second[:, 0, 1:] @ self.member, 1, 2)
        B *= spread[:, :, None]
        return slope_a, slope_z, H - np.swapaxes(B, 1, 2) @ (B / C[:, :, None]), B, C


def climb_held(likelihood: Likelihood, mean: Array, precision: Array, spread: Array, a: Array, z: Array) -> FiringModes:
    """Newton's method with step-halving, all priors at once.

    Parameters
    ----------
    likelihood : an outcome that is not measured.
    mean, precision : (r,), (m, r) of the independent priors of a.
    spread : (m,) sd of firings; idle where they are not modelled.
    a, z : (m, r), (m, G) where to start.
    """
    surface = _Surface(likelihood, mean, precision, spread)
    a, z = a.copy(), z.copy()
    left = np.arange(len(a))
    value = surface.height(a, z, left)
    S, C = np.empty((len(a), a.shape[1], a.shape[1])), np.empty_like(z)
    log_det = np.empty(len(a))
    for _ in range(_MOST_STEPS):
        slope_a, slope_z, S_left, B, C[left] = surface.bends(a[left], z[left], left)
        root, S[left] = positive_roots(S_left)
        log_det[left] = log_determinants(root)
        step_a, step_z = _newton(slope_a, slope_z, root, B, C[left])
        gain = np.sum(slope_a * step_a, axis=1) + np.sum(slope_z * step_z, axis=1)
        far = gain >= _NEAR
        left, step_a, step_z = left[far], step_a[far], step_z[far]
        to_go, size = np.arange(left.size), 1.0
        while to_go.size and size > 0.5**_MOST_HALVINGS:
            at = left[to_go]
            trial_a, trial_z = a[at] + size * step_a[to_go], z[at] + size * step_z[to_go]
            height = surface.height(trial_a, trial_z, at)
            up = height >= value[at]
            a[at[up]], z[at[up]], value[at[up]] = trial_a[up], trial_z[up], height[up]
            to_go, size = to_go[~up], 0.5 * size
        left = np.delete(left, to_go)
        if not left.size:
            break
    log_det += np.log(C).sum(axis=1)
    return FiringModes(a, z, S, value + 0.5 * (np.log(precision).sum(axis=1) - log_det))


def mean_held(likelihood: Likelihood, mean: Array, precision: Array, spread: Array, modes: FiringModes) -> FiringModes:
    """From modes towards means, and the precisions there; log evidences stay.

    No height watches over the steps. One that leads far off, as it may where all grades seen are the same middle one,
    is not gone: the mode and the precision there are kept.

    Parameters
    ----------
    likelihood, mean, precision, spread : as in `climb_held`.
    modes : where to start.
    """
    surface, whole = _Surface(likelihood, mean, precision, spread), np.arange(len(modes.a))
    a, z, S = modes.a, modes.z, modes.precision
    *_, B, C = surface.bends(a, z, whole)
    root, _ = positive_roots(S)
    near = np.ones(len(a), dtype=bool)
    for _ in range(_MEAN_STEPS):
        slope_a, slope_z, S, B, C = surface.bends(a, z, whole, surface.scatter(root, B, C, whole))
        root, S = positive_roots(S)
        step_a, step_z = _newton(slope_a, slope_z, root, B, C)
        near &= np.sum(slope_a * step_a, axis=1) + np.sum(slope_z * step_z, axis=1) <= _FARTHEST**2
        a, z = np.where(near[:, None], a + step_a, modes.a), np.where(near[:, None], z + step_z, modes.z)
    return FiringModes(a, z, np.where(near[:, None, None], S, modes.precision), modes.log_evidence)


def _newton(slope_a: Array, slope_z: Array, root: Array, B: Array, C: Array) -> tuple[Array, Array]:
    """Newton's steps in a (k, r) and z (k, G), S = root root'."""
    pull = slope_a - np.einsum("kgr,kg->kr", B, slope_z / C)
    step_a = solve_with(root, pull)
    return step_a, (slope_z - np.einsum("kgr,kr->kg", B, step_a)) / C

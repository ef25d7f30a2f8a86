"""Many short chains of generalised elliptical slice sampling, all moved together.

Elliptical slice sampling (Murray, Adams & MacKay 2010, AISTATS) draws from N(0, I) times a likelihood without tuning.
In its generalised form (Nishihara, Murray & Adams 2014, JMLR 15) a multivariate t fitted to the other chains takes the
place of the Gaussian: given a scale drawn for each move it is one, and target / reference is the "likelihood". Each
chain keeps its own bracket of angles and starts its next move as soon as it has found a point on its slice, so that no
chain waits for another and every evaluation is one large array. (Both papers from memory.)
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from meltdoe.fit.draws.diagnostics import R_HAT_LIMIT, split_r_hat

__all__ = ["elliptical_slice"]

Array = NDArray[np.float64]

_WIDER = 1.3  # scale matrix of the reference over the covariance of the chains; 1 and 1.5 mixed no better
_DF = 7.0
Target = Callable[[Array], Array]
Refresh = Callable[[Array, np.random.Generator], Array]


def elliptical_slice(
    log_target: Callable[[Array], Array],
    mean: Array,
    covariance: Array,
    rng: np.random.Generator,
    *,
    refresh: Refresh | None = None,
    chains: int = 200,
    sweeps: int = 40,
    warm_up: int = 20,
    most_sweeps: int = 200,
) -> tuple[Array, float]:
    """Draw from a density known up to a constant.

    Parameters
    ----------
    log_target : log density of (m, d) points, (m,).
    mean, covariance : (d,), (d, d) of the Gaussian approximation at the mode.
    rng : generator; the same state gives the same draws.
    refresh : a further move, (m, d) -> (m, d), that leaves the target as it is; every other move ends with it.
    chains, sweeps, warm_up : chains, sweeps kept at first and sweeps dropped.
    most_sweeps : sweeps kept at most, where split R-hat asks for more.

    Returns
    -------
    chains (kept, chains, d), and the largest split R-hat.
    """

    def reference(mean: Array, covariance: Array, points: Array) -> tuple[Array, Target, Refresh | None, Array]:
        """Root of the reference's scale; target, refreshing move and points in whitened coordinates."""
        root: Array = np.asarray(np.linalg.cholesky(_WIDER * covariance), dtype=float)
        inverse = np.linalg.inv(root)

        def inward(x: Array) -> Array:
            return np.asarray((x - mean) @ inverse.T)

        def outward(e: Array) -> Array:
            return np.asarray(mean + e @ root.T)

        def again(e: Array, rng: np.random.Generator) -> Array:
            assert refresh is not None
            return inward(refresh(outward(e), rng))

        return root, lambda e: log_target(outward(e)), again if refresh else None, inward(points)

    begin = mean + rng.standard_normal((chains, mean.size)) @ np.linalg.cholesky(covariance).T
    # The mode may lie far from the mean under separation: twice fit the reference anew to where the chains now are.
    for part in (warm_up // 2, warm_up - warm_up // 2):
        root, target, again, e = reference(mean, covariance, begin)
        path = mean + _moves(target, e, part, rng, again) @ root.T
        recent = path[part // 2 :].reshape(-1, mean.size)
        mean, covariance, begin = recent.mean(axis=0), np.atleast_2d(np.cov(recent.T)), path[-1]
    root, target, again, e = reference(mean, covariance, begin)
    kept = _moves(target, e, sweeps, rng, again)
    while True:
        r_hat = float(split_r_hat(kept).max())
        if r_hat <= R_HAT_LIMIT or len(kept) >= most_sweeps:
            return mean + kept @ root.T, r_hat
        more = min(len(kept), most_sweeps - len(kept))
        kept = np.concatenate([kept, _moves(target, kept[-1], more, rng, again)])


def _moves(target: Target, e: Array, sweeps: int, rng: np.random.Generator, refresh: Refresh | None) -> Array:
    """`sweeps` moves of every chain from e (m, d), in whitened coordinates: (sweeps, m, d)."""
    m, d = e.shape

    def log_ratio(points: Array) -> Array:
        return np.asarray(target(points) + 0.5 * (_DF + d) * np.log1p(np.sum(points**2, axis=1) / _DF))

    e = e.copy()
    height = log_ratio(e)
    path = np.empty((sweeps, m, d))
    made = np.zeros(m, dtype=int)
    partner, floor = np.empty((m, d)), np.empty(m)
    angle, low, high = np.empty(m), np.empty(m), np.empty(m)
    fresh = np.arange(m)
    while made.min() < sweeps:
        # A chain at the start of a move draws the scale that makes a Gaussian of the t, its ellipse, its slice
        # and the first angle.
        k = fresh.size
        shape = (_DF + np.sum(e[fresh] ** 2, axis=1)) / 2.0
        scale = np.sqrt(shape / rng.standard_gamma((_DF + d) / 2.0, k))
        partner[fresh] = scale[:, None] * rng.standard_normal((k, d))
        floor[fresh] = height[fresh] - rng.standard_exponential(k)
        high[fresh] = rng.uniform(0.0, 2.0 * np.pi, k)
        low[fresh] = high[fresh] - 2.0 * np.pi
        angle[fresh] = high[fresh]
        trial = e * np.cos(angle)[:, None] + partner * np.sin(angle)[:, None]
        found = log_ratio(trial)
        hit = found >= floor
        # The others shrink their brackets towards angle 0, the point that is certainly on the slice.
        below = angle < 0.0
        np.copyto(low, angle, where=below)
        np.copyto(high, angle, where=~below)
        angle = low + (high - low) * rng.random(m)
        fresh = np.flatnonzero(hit)
        e[fresh], height[fresh] = trial[fresh], found[fresh]
        if refresh is not None:
            # After every other move: by a chain's own count, as anything that depends on the state would bias.
            due = fresh[made[fresh] % 2 == 0]
            if due.size:
                e[due] = refresh(e[due], rng)
                height[due] = log_ratio(e[due])
        kept = fresh[made[fresh] < sweeps]
        path[made[kept], kept] = e[kept]
        made[kept] += 1
    return path

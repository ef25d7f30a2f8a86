"""Chains for one outcome's posterior, whatever its prior: coordinates, moves, diagnostics.

The sampler itself is `elliptical_slice.py`, the coordinates it moves in `chain_coordinates.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from meltdoe.fit.draws.chain_coordinates import make_coordinates
from meltdoe.fit.draws.diagnostics import R_HAT_LIMIT, Diagnostics, effective_draws
from meltdoe.fit.draws.elliptical_slice import elliptical_slice
from meltdoe.fit.draws.laplace import LogPosterior, climb
from meltdoe.fit.draws.scale_moves import Move, PrecisionGiven, coefficient_move, firing_scale_move, size_move

__all__ = ["chain_draws"]

Array = NDArray[np.float64]

_CHAINS = 200
_SWEEPS = 40
_MOST_SWEEPS = 200
_EFFECTIVE_LIMIT = 1000.0


def chain_draws(
    target: LogPosterior,
    rng: np.random.Generator,
    draws: int,
    log_prior: Callable[[Array], Array] | None = None,
    precision_given: PrecisionGiven | None = None,
    *,
    sized: Sequence[int] = (),
    long: bool = True,
) -> tuple[Array, Diagnostics]:
    """Equally weighted draws of theta.

    Parameters
    ----------
    target : log posterior under one Gaussian prior.
    rng : generator; the same state gives the same draws.
    draws : number of draws wanted, rounded to a multiple of the 200 chains.
    log_prior : the prior that is meant, (m, d) -> (m,), where it is not the Gaussian of `target`; that one is then
        only the start, and must be near it.
    precision_given : see `scale_moves.coefficient_move`; needed with `log_prior`.
    sized : coefficients whose prior has a narrow and a wide part, see `scale_moves.size_move`.
    long : whether chains that do not agree yet go on.

    Returns
    -------
    draws (S, d), and how far to trust them.
    """
    likelihood, mean, precision = target.likelihood, target.mean[0], target.precision[0]
    coordinates = make_coordinates(likelihood, mean, precision)

    def gaussian(theta: Array) -> Array:
        away = theta - mean
        return np.asarray(-0.5 * np.sum((away @ precision) * away, axis=1))

    believed = log_prior or gaussian

    def log_target(e: Array) -> Array:
        theta = coordinates.outward(e)
        return likelihood.log_likelihood(theta) + believed(theta) + coordinates.log_jacobian(e)

    if likelihood.kind == "measured":
        # Standardised given sigma; for the scales themselves the prior is the start.
        variance = np.diag(precision) ** -1.0
        scales = np.arange(likelihood.n_coef, likelihood.n_coef + 1 + (likelihood.n_groups > 0))
        start, spread = np.zeros(mean.size), np.eye(mean.size)
        start[scales] = mean[scales]
        spread[scales, scales] = variance[scales]
    else:
        mode = climb(target)
        start, spread = mode.theta[0], mode.covariance[0]

    moves: list[Move] = []
    if likelihood.n_groups:
        moves.append(firing_scale_move(target))
        if likelihood.kind == "measured":
            moves.append(coefficient_move(target, precision_given))
    if len(sized):
        moves.append(size_move(lambda theta: likelihood.log_likelihood(theta) + believed(theta), np.array(sized)))

    def refresh(e: Array, rng: np.random.Generator) -> Array:
        theta = coordinates.outward(e)
        for move in moves:
            theta = move(theta, rng)
        return coordinates.inward(theta)

    sweeps = max(_SWEEPS, -(-draws // _CHAINS))
    chains, r_hat = elliptical_slice(
        log_target,
        start,
        spread,
        rng,
        refresh=refresh if moves else None,
        chains=_CHAINS,
        sweeps=sweeps,
        most_sweeps=max(_MOST_SWEEPS, sweeps) if long else sweeps,
    )
    effective = float(effective_draws(chains).min())
    # Evenly spaced sweeps carry nearly all the information of the whole chains.
    keep = np.linspace(0, len(chains) - 1, max(1, round(draws / _CHAINS))).round().astype(int)
    theta = coordinates.outward(chains[keep].reshape(-1, mean.size))
    trusted = r_hat <= R_HAT_LIMIT and effective >= _EFFECTIVE_LIMIT
    return theta, Diagnostics("slice", r_hat, effective, np.nan, len(chains), trusted)

"""Weighted draws of a pass/fail or graded outcome under every pattern of active factors, around the modes.

Every pattern is a Gaussian prior; all modes are climbed together, and draws of coefficients and log gaps around each
carry the exact log ratio of target to proposal. A few rows speak about a few combinations of coefficients only: with
those whitened by the prior, directions orthogonal to all rows keep the prior exactly and are drawn from it, and
heavy-tailed t draws are spent on the others alone. Most lie close around the mean (`firing_modes.mean_held`), where
they are worth most; some lie wide around the mode, so that no draw far out can weigh much (a defensive mixture:
Hesterberg 1995, Technometrics 37, 185-194, from memory).

How many draws a pattern gets is asked of its Laplace evidence first, then of the weights of the draws made so far: as
the root of their second moment, the best allocation to strata. All rounds are weighed as one mixture (Cornuet, Marin,
Mira & Robert 2012, Scand. J. Statist. 39, 798-812, from memory).

Where firings have an effect, their log sd is held at the nodes of a lattice (`scale_lattice.py`) meanwhile, since the
joint mode of a scale and the effects it scales says little. It is then drawn from the lattice, coefficients and gaps
around the mode at the nearest node, and each firing's z by itself around its mode given all those, so that the number
of firings hardly tells on the weights.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from meltdoe.fit.draws.firing_modes import FiringModes, climb_held, mean_held
from meltdoe.fit.draws.pattern_draws import PatternPrior, WeightedDraws, blocks, each_times
from meltdoe.fit.draws.scale_lattice import ScaleLattice, make_lattice
from meltdoe.fit.draws.stacked_roots import inverse, log_determinants, positive_roots
from meltdoe.fit.model.likelihood import Likelihood

__all__ = ["ModeProposal", "mode_proposal"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int_]

_DF = 5.0  # of the t proposals; with 7 and more, k-hat was higher
_WIDE_SHARE = 0.35  # of the draws, around the mode; with half as many, or twice as wide, more fits took a second round
_WIDTHS = 16.0  # by which those are wider, shared by the directions
_WIDER = 1.5  # at most; a little in each of many directions is much in all
_SPOKEN = 1e-9  # of the largest singular value: less is rounding
_DF_FIRING = 15.0  # of those of z, of which there are many
_STEPS = 3  # of Newton's method towards the mode of a firing's z
_LONGEST = 3.0  # of those steps
_LIGHT = 1e-4  # share of the draws below which a mode is not worth a mean
_KEPT = 0.2  # of the next round's draws, half as in the first round, half to all patterns alike
_LOG_2_PI = float(np.log(2.0 * np.pi))


@dataclass(frozen=True, slots=True, eq=False)
class _Sheet:
    """Draws of one width around one kind of centre, at M nodes, in the first t directions: those rows speak about.

    Where they speak about fewer under a pattern, the others have the prior: centre 0 and precision 1.

    Attributes
    ----------
    centre : (M, t) in units of the prior.
    lower : (M, t, t) lower triangular roots of the precisions. root : their transposed inverses.
    log_det : (M,) log determinants of `lower`.
    """

    centre: Array
    lower: Array
    root: Array
    log_det: Array

    def draws(self, owner: IntArray, e: Array) -> Array:
        """Standard draws e (m, t) of nodes `owner`, ascending, put in place."""
        return np.asarray(self.centre[owner] + each_times(self.root, owner, e))

    def log_density(self, owner: IntArray, u: Array, tailed: Array, told: IntArray) -> Array:
        """Log density (m,) at u (m, t), of nodes `owner`, ascending, in the directions that are `tailed` (m, t)."""
        e = each_times(np.swapaxes(self.lower, 1, 2), owner, u - self.centre[owner])
        return np.asarray(self.log_det[owner] + _log_t(np.einsum("si,si,si->s", e, e, tailed), told, _DF))


@dataclass(frozen=True, slots=True, eq=False)
class ModeProposal:
    """What to draw from.

    Attributes
    ----------
    likelihood, prior : make the target.
    lattice : of pattern and log sd of firings.
    basis : (P, r, r) directions of each pattern kept, in the coefficients' own units.
    told : (P,) how many of them the rows speak about.
    near, wide : draws around the means, and wide around the modes, at every node of every pattern kept.
    z : (M, G) modes of the firings' z.
    """

    likelihood: Likelihood
    prior: PatternPrior
    lattice: ScaleLattice
    basis: Array
    told: IntArray
    near: _Sheet
    wide: _Sheet
    z: Array

    def rounds(self, sizes: Sequence[int], rng: np.random.Generator) -> Iterator[WeightedDraws]:
        """After each round of `sizes` draws of theta and of the pattern, all so far, weighted."""
        lattice, n_patterns = self.lattice, len(self.lattice.patterns)
        first = lattice.share.sum(axis=(1, 2))
        shares: list[Array] = []
        parts: list[tuple[IntArray, Array, Array, Array]] = []
        for size in sizes:
            drawn = lattice.draw(size, rng)
            shares.append(lattice.share.sum(axis=(1, 2)))
            parts.append((*drawn, *self._around(*drawn, rng)))
            place, theta, log_given = (np.concatenate([part[i] for part in parts]) for i in (0, 2, 3))
            mixed = lattice.shared_out(np.average(shares, axis=0, weights=sizes[: len(parts)]))
            log_ratio = log_given - mixed.log_density(place, np.concatenate([part[1] for part in parts], axis=1))
            yield WeightedDraws(theta, self.lattice.patterns[place], log_ratio)
            # Weights within each pattern, whatever share of the draws it had.
            within = np.exp(2.0 * (log_ratio - log_ratio.max())) * mixed.share.sum(axis=(1, 2))[place] ** 2
            often = np.maximum(np.bincount(place, minlength=n_patterns), 1)
            wanted = np.sqrt(np.bincount(place, within, minlength=n_patterns) / often)
            lattice = self.lattice.shared_out(
                (1.0 - _KEPT) * wanted / wanted.sum() + 0.5 * _KEPT * (first + 1.0 / n_patterns)
            )

    def _around(self, place: IntArray, logs: Array, rng: np.random.Generator) -> tuple[Array, Array]:
        """Theta (m, d) at places and log sds of firings, and log ratios (m,) of target to proposal given both."""
        m, r, t = place.size, self.basis.shape[1], self.near.centre.shape[1]
        wide = rng.random(m) < _WIDE_SHARE
        e = rng.standard_normal((m, r))
        heavy = np.sqrt(_DF / rng.chisquare(_DF, m))
        theta, log_ratio = np.empty((m, self.likelihood.size)), np.empty(m)
        # Draws of one node follow each other, so that its matrices are multiplied with all of them at once.
        owner = place * self.lattice.share[0].size + self.lattice.nearest(logs)
        order = np.argsort(owner, kind="stable")
        for part in blocks(m, max(r, len(self.likelihood.X))):
            at = order[part]
            here, pattern, told = owner[at], self.lattice.patterns[place[at]], self.told[place[at]]
            u = e[at]
            tailed = (np.arange(t) < told[:, None]).astype(float)
            log_proposal = -0.5 * (
                np.sum(u**2, axis=1) - np.sum(u[:, :t] ** 2 * tailed, axis=1) + (r - told) * _LOG_2_PI
            )
            u[:, :t] *= np.where(tailed, heavy[at, None], 1.0)
            for sheet, chosen in ((self.near, np.flatnonzero(~wide[at])), (self.wide, np.flatnonzero(wide[at]))):
                u[chosen, :t] = sheet.draws(here[chosen], u[chosen, :t])
            log_proposal += np.logaddexp(
                np.log(1.0 - _WIDE_SHARE) + self.near.log_density(here, u[:, :t], tailed, told),
                np.log(_WIDE_SHARE) + self.wide.log_density(here, u[:, :t], tailed, told),
            )
            drawn = np.empty((len(at), self.likelihood.size))
            drawn[:, :r] = self.prior.mean[:r] + each_times(self.basis, place[at], u)
            if len(logs):
                drawn[:, r] = logs[0, at]
                drawn[:, r + 1 :], log_density = _draw_firings(self.likelihood, drawn, self.z[here], rng)
                log_proposal += log_density
            squares = np.einsum("sd,sd->s", (drawn - self.prior.mean) ** 2, self.prior.precision[pattern])
            theta[at] = drawn
            log_ratio[at] = self.likelihood.log_likelihood(drawn) - 0.5 * squares - log_proposal
        # The sds of coefficients and gaps scale draws and prior alike.
        behind = 0.5 * np.log(self.prior.precision[:, r:]).sum(axis=1) - 0.5 * self.likelihood.size * _LOG_2_PI
        return theta, (self.prior.log_chance + behind)[self.lattice.patterns[place]] + log_ratio


def mode_proposal(likelihood: Likelihood, prior: PatternPrior, nodes: int) -> ModeProposal:
    """What to draw from for one outcome.

    Parameters
    ----------
    likelihood : an outcome that is not measured.
    nodes : of the lattice of the log sd of firings.
    """
    r = likelihood.n_coef + likelihood.n_shape
    scale = slice(r, r + (likelihood.n_groups > 0))
    mean, sd = prior.mean[scale, None], prior.precision[0, scale, None] ** -0.5

    def spread(logs: Array, m: int) -> Array:
        return np.exp(logs[0]) if len(logs) else np.ones(m)

    def climbed(pattern: IntArray, logs: Array, start: FiringModes) -> FiringModes:
        # At a larger sd of firings than that of the start smaller z add as much.
        m = pattern.size
        less = np.exp(np.minimum(mean - logs, 0.0)).T if len(logs) else 1.0
        begin = np.repeat(start.a, m, axis=0), np.repeat(start.z, m, axis=0) * less
        return climb_held(likelihood, prior.mean[:r], prior.precision[pattern, :r], spread(logs, m), *begin)

    begin = FiringModes(prior.mean[None, :r], np.zeros((1, likelihood.n_groups)), np.empty(0), np.empty(0))
    start = climbed(np.array([len(prior.patterns) - 1]), mean, begin)
    made: list[FiringModes] = []  # of the last call, which is that for all nodes
    last: list[tuple[IntArray, Array]] = []  # what it was asked

    def log_height(pattern: IntArray, logs: Array) -> Array:
        made[:] = [climbed(pattern[at], logs[:, at], start) for at in blocks(pattern.size, size)]
        last[:] = [(pattern, logs)]
        log_prior = -0.5 * ((logs - mean) / sd) ** 2 - np.log(sd) - 0.5 * _LOG_2_PI
        found = np.concatenate([modes.log_evidence for modes in made])
        return np.asarray(prior.log_chance[pattern] + found + log_prior.sum(axis=0))

    size = len(likelihood.X) * (1 + likelihood.n_shape) ** 2
    lattice = make_lattice(log_height, prior.patterns, mean[:, 0], sd[:, 0], (nodes,))
    a, z, precision = (np.concatenate(part) for part in zip(*((m.a, m.z, m.precision) for m in made), strict=True))
    sds = prior.precision[lattice.patterns, :r] ** -0.5
    turned, told = _told_directions(likelihood, sds)
    basis = sds[:, :, None] * turned
    place = np.repeat(np.arange(len(sds)), lattice.share[0].size)
    wide = _sheet(a - prior.mean[:r], precision, basis[place], sds[place], told[place], _WIDER)

    heavy = np.flatnonzero(lattice.share.ravel() > _LIGHT)
    pattern, logs = last[0]
    for at in blocks(heavy.size, size):
        here = heavy[at]
        modes = FiringModes(a[here], z[here], precision[here], np.empty(0))
        held = spread(logs[:, here], here.size)
        moved = mean_held(likelihood, prior.mean[:r], prior.precision[pattern[here], :r], held, modes)
        a[here], precision[here] = moved.a, moved.precision
    near = _sheet(a - prior.mean[:r], precision, basis[place], sds[place], told[place], 1.0)
    return ModeProposal(likelihood, prior, lattice, basis, told, near, wide, z)


def _sheet(away: Array, precision: Array, basis: Array, sds: Array, told: IntArray, wider: float) -> _Sheet:
    """Draws around `away` (M, r) from the prior mean, at most `wider` than precisions (M, r, r) ask for."""
    t = int(told.max(initial=0))
    tailed = np.arange(t) < told[:, None]
    told_basis = basis[:, :, :t]
    inner = np.swapaxes(told_basis, 1, 2) @ precision @ told_basis
    inner = np.where(tailed[:, :, None] & tailed[:, None, :], inner, np.eye(t))
    widened = np.minimum(wider, 1.0 + _WIDTHS / np.maximum(told, 1))
    lower = positive_roots(inner)[0] / np.where(tailed, widened[:, None], 1.0)[:, :, None]
    log_det = 0.5 * log_determinants(lower)
    centre = np.einsum("mji,mj->mi", told_basis, away / sds**2) * tailed
    return _Sheet(centre, lower, np.swapaxes(inverse(lower), 1, 2), log_det)


def _told_directions(likelihood: Likelihood, sds: Array) -> tuple[Array, IntArray]:
    """Orthonormal directions (m, r, r) in units of the prior sds (m, r), those rows speak about first; their number.

    Log gaps are always among those.
    """
    p, r = likelihood.n_coef, sds.shape[1]
    spoken = np.zeros((len(sds), r, len(likelihood.X) + r - p))
    spoken[:, :p, : len(likelihood.X)] = sds[:, :p, None] * likelihood.X.T
    spoken[:, range(p, r), range(len(likelihood.X), spoken.shape[2])] = 1.0
    turned, size, _ = np.linalg.svd(spoken, full_matrices=spoken.shape[2] < r)
    spoken_of = size > _SPOKEN * size.max(axis=1, initial=0.0, keepdims=True)
    return turned, np.asarray(np.count_nonzero(spoken_of, axis=1))


def _draw_firings(likelihood: Likelihood, theta: Array, start: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Each firing's z (m, G) from a t near its mode given all else, and the log density of all (m,)."""
    p, n, at = likelihood.n_coef, likelihood.y.size, likelihood.n_coef + likelihood.n_shape
    member = (likelihood.groups[:n, None] == np.arange(likelihood.n_groups)).astype(float)
    shape, spread = likelihood.shape(theta), np.exp(theta[:, at, None])
    base = theta[:, :p] @ likelihood.X[:n].T
    z = start
    for step in range(_STEPS + 1):
        with np.errstate(over="ignore"):  # the gap of a stray draw
            first, second = likelihood.slopes(base + spread * (z @ member.T), shape)
        bend = 1.0 - spread**2 * (second @ member)
        if step < _STEPS:
            z = z + np.clip((spread * (first @ member) - z) / bend, -_LONGEST, _LONGEST)
    e = rng.standard_t(_DF_FIRING, z.shape)
    return z + e / np.sqrt(bend), (_log_t(e**2, 1, _DF_FIRING) + 0.5 * np.log(bend)).sum(axis=1)


def _log_t(squares: Array, d: IntArray | int, df: float) -> Array:
    """Log density of the d-variate t with unit scale matrix at squared lengths."""
    of = np.arange(np.max(d) + 1)
    constant = (gammaln((df + of) / 2) - gammaln(df / 2) - 0.5 * of * np.log(df * np.pi))[d]
    return np.asarray(constant - 0.5 * (df + d) * np.log1p(squares / df))

"""Designs for pass/fail melts: pseudo-Bayesian D-optimality for a binary outcome.

Likelihood: y ~ Bernoulli(p), link(p) = f(x)'b. Information of one melt: w(x, b) f f', w = (dp/deta)^2 / (p (1 - p)).
Prior: draws b_1..b_S. The design makes large

    U = mean_s log | P0 + sum_i w(x_i, b_s) f_i f_i' |

(Chaloner and Larntz 1989, JSPI 21, 191-208; Woods, Lewis, Eccleston and Russell 2006, Technometrics 48). The logs
are averaged, not the information: one determinant of averaged information is another, over-hopeful criterion. P0,
the prior precision, keeps U finite with few melts. One draw and P0 = 0 give the locally D-optimal design. A design
over-fits the draws it was found with: report `utility` on fresh ones.

Search: coordinate exchange and polish as in `meltdoe.plans.optimal.coordinate_exchange`, with a determinant per draw.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import special

from meltdoe.plans.optimal.feasible_settings import random_designs
from meltdoe.plans.optimal.model_matrix import Categorical, DesignFactor, FloatArray, Limit, Model, Terms, feasible

__all__ = ["Link", "LogisticDesign", "binary_weight", "logistic_exchange", "utility"]

IntArray = npt.NDArray[np.int64]
Link: TypeAlias = Literal["logit", "probit", "cloglog"]

_STARTS = 12
_SEARCH_DRAWS = 64
_POLISHED = 3
_COARSE = 5
_SWEEPS = 20
_STEPS = (0.25, 0.03, 0.004, 0.0004)
_RIDGE = 1e-9
_GAIN = 1e-7


@dataclass(frozen=True, eq=False)
class LogisticDesign:
    """A design for a binary outcome.

    Parameters
    ----------
    table : (runs, k) raw settings.  utility : U on all draws of the search.  starts : random starts made.
    hits : starts whose polished design has this U within 0.001.
    """

    table: FloatArray
    utility: float
    starts: int
    hits: int


def binary_weight(eta: npt.ArrayLike, link: Link = "logit") -> FloatArray:
    """w = (dp/deta)^2 / (p (1 - p)), computed in logs so that far tails do not become 0/0."""
    e = np.asarray(eta, dtype=float)
    if link == "logit":
        return np.asarray(special.expit(e) * special.expit(-e))
    if link == "probit":
        log_density = -0.5 * e**2 - 0.5 * np.log(2.0 * np.pi)
        return np.asarray(np.exp(2.0 * log_density - special.log_ndtr(e) - special.log_ndtr(-e)))
    if link == "cloglog":
        rate = np.exp(np.minimum(e, 50.0))
        return np.asarray(np.exp(2.0 * np.minimum(e, 50.0) - rate) / -np.expm1(-rate))
    raise ValueError(f'the link must be "logit", "probit" or "cloglog", got {link!r}')


def utility(
    rows: npt.ArrayLike, draws: npt.ArrayLike, prior_precision: npt.ArrayLike | None = None, link: Link = "logit"
) -> float:
    """U of a design, on any draws.

    Parameters
    ----------
    rows : (n_runs, p) model rows.  draws : (S, p) prior draws of the coefficients.
    prior_precision : (p, p) P0; zero where None.

    Returns
    -------
    float
        -inf where some draw leaves the determinant zero and there is no P0.
    """
    X, b = np.asarray(rows, dtype=float), np.atleast_2d(np.asarray(draws, dtype=float))
    w = binary_weight(b @ X.T, link)
    M = _information(X, w)
    if prior_precision is not None:
        M = M + np.asarray(prior_precision, dtype=float)
    sign, logdet = np.linalg.slogdet(M)
    return float(np.where(sign > 0, logdet, -np.inf).mean())


def _information(rows: FloatArray, weights: FloatArray) -> FloatArray:
    """sum_i w_si f_i f_i', shapes (n, p) and (S, n) to (S, p, p)."""
    return np.asarray(rows.T @ (weights[:, :, None] * rows))


def logistic_exchange(
    factors: Sequence[DesignFactor],
    terms: Terms,
    runs: int,
    draws: npt.ArrayLike,
    *,
    prior_precision: npt.ArrayLike | None = None,
    firings: Sequence[int] | None = None,
    limits: Sequence[Limit] = (),
    existing: npt.ArrayLike | None = None,
    link: Link = "logit",
    effort: float = 1.0,
    seed: int = 0,
) -> LogisticDesign:
    """The best pseudo-Bayesian D-optimal design found for a pass/fail outcome.

    Parameters
    ----------
    factors, terms, runs, firings, limits, existing, effort, seed : as for
        `meltdoe.plans.optimal.coordinate_exchange.exchange`. Factors with `per_firing` keep one setting within each
        firing; differences between firings beyond those settings are left out of account.
    draws : (S, p) prior draws of the coefficients, in random or low-discrepancy order: the first 64 serve to search,
        all to polish; 256 to 512 are a good number.
    prior_precision : (p, p) P0.

    Raises
    ------
    ValueError
        Where the arguments do not fit together, or no setting satisfies the limits.
    """
    model = Model(factors, terms)
    b = np.atleast_2d(np.asarray(draws, dtype=float))
    if b.shape[1] != model.width:
        raise ValueError(f"each prior draw needs {model.width} coefficients, got {b.shape[1]}")
    if runs < 1:
        raise ValueError(f"a design needs at least one run, got {runs}")
    fixed = _RIDGE * np.eye(model.width) + np.zeros((len(b), 1, 1))
    if prior_precision is not None:
        fixed = fixed + np.asarray(prior_precision, dtype=float)
    if existing is not None:
        kept = model.rows(np.atleast_2d(np.asarray(existing, dtype=float)))
        fixed = fixed + _information(kept, binary_weight(b @ kept.T, link))
    rng = np.random.default_rng(seed)
    count = max(2, round(_STARTS * effort))
    few = slice(0, _SEARCH_DRAWS)
    members = _members(firings, runs)
    raw = random_designs(model.factors, limits, runs, members, count, rng)
    search = _Search(model, tuple(limits), members, b[few], fixed[few], link, raw)
    search.improve(None)
    best = np.argsort(-search.values(), kind="stable")[:_POLISHED]
    polish = _Search(model, tuple(limits), members, b, fixed, link, search.raw[best])
    for step in _STEPS:
        polish.improve(step)
    values = polish.values()
    top = int(np.argmax(values))
    return LogisticDesign(polish.raw[top], float(values[top]), count, int((values >= values[top] - 1e-3).sum()))


def _members(firings: Sequence[int] | None, runs: int) -> tuple[IntArray, ...]:
    """Row numbers of each firing; empty where every run is its own."""
    if firings is None:
        return ()
    if min(firings, default=1) < 1 or sum(firings) != runs:
        raise ValueError(f"the firings hold {list(firings)}, which does not sum to {runs} runs")
    return tuple(np.split(np.arange(runs), np.cumsum(firings)[:-1]))


class _Search:
    """B designs and S draws improved together; D[b, s] is the inverse information of design b under draw s."""

    def __init__(
        self,
        model: Model,
        limits: tuple[Limit, ...],
        firings: tuple[IntArray, ...],
        draws: FloatArray,
        fixed: FloatArray,
        link: Link,
        raw: FloatArray,
    ) -> None:
        self.model, self.limits, self.draws, self.fixed, self.link = model, limits, draws, fixed, link
        self.firings = firings
        self.shared = [j for j, factor in enumerate(model.factors) if factor.per_firing and firings]
        self.raw = raw.copy()
        self.rebuild()

    def rebuild(self) -> None:
        self.rows = self.model.rows(self.raw)
        self.weights = binary_weight(self.draws @ np.swapaxes(self.rows, -1, -2), self.link)
        weighted = self.weights[..., None] * self.rows[:, None]
        self.M = np.swapaxes(weighted, -1, -2) @ self.rows[:, None] + self.fixed
        self.D = np.linalg.inv(self.M)

    def values(self) -> FloatArray:
        return np.asarray(np.linalg.slogdet(self.M)[1].mean(axis=1))

    def improve(self, step: float | None) -> None:
        """Sweep to a standstill: over a coarse grid where step is None, else by steps around the present setting."""
        for _ in range(_SWEEPS):
            changed = False
            for members in self.firings:
                for j in self.shared:
                    changed |= self._change_firing(members, j, step)
            for i in range(self.raw.shape[1]):
                for j in range(self.raw.shape[2]):
                    if j not in self.shared:
                        changed |= self._change(i, j, step)
            self.rebuild()
            if not changed:
                return

    def _levels(self, j: int, now: FloatArray, step: float | None) -> FloatArray:
        factor = self.model.factors[j]
        if isinstance(factor, Categorical):
            return np.broadcast_to(np.arange(factor.levels, dtype=float), (len(now), factor.levels))
        if step is None:
            grid = np.linspace(-1.0, 1.0, _COARSE) if factor.levels is None else np.asarray(factor.levels, dtype=float)
            return np.broadcast_to(grid, (len(now), len(grid)))
        trial = np.clip(now[:, None] + step * np.array([-1.0, -0.35, 0.35, 1.0]), -1.0, 1.0)
        if factor.levels is None:
            return trial
        allowed = np.asarray(factor.levels, dtype=float)
        return np.asarray(allowed[np.abs(trial[..., None] - allowed).argmin(axis=-1)])

    def _change_firing(self, members: IntArray, j: int, step: float | None) -> bool:
        """One setting for all melts of a firing: the information is formed anew for each level."""
        levels = self._levels(j, self.raw[:, members[0], j], step)
        raw = np.repeat(self.raw[:, members][:, None], levels.shape[1], axis=1)  # (B, L, m, k)
        raw[..., j] = levels[..., None]
        new = self.model.rows(raw)
        old, w_old = self.rows[:, members], self.weights[:, :, members]
        rest = self.M - np.swapaxes(w_old[..., None] * old[:, None], -1, -2) @ old[:, None]  # (B, S, p, p)
        w_new = binary_weight(self.draws @ np.swapaxes(new, -1, -2), self.link)  # (B, L, S, m)
        trial = rest[:, None] + np.swapaxes(w_new[..., None] * new[:, :, None], -1, -2) @ new[:, :, None]
        gain = np.linalg.slogdet(trial)[1].mean(axis=2) - np.linalg.slogdet(self.M)[1].mean(axis=1)[:, None]
        if self.limits:
            gain = np.where(feasible(self.limits, raw).all(axis=-1), gain, -np.inf)
        pick = np.argmax(gain, axis=1)
        which = np.flatnonzero(gain[np.arange(len(pick)), pick] > _GAIN)
        if not len(which):
            return False
        chosen = (which, pick[which])
        self.M[which] = trial[chosen]
        self.D[which] = np.linalg.inv(self.M[which])
        self.raw[which[:, None], members] = raw[chosen]
        self.rows[which[:, None], members] = new[chosen]
        self.weights[which[:, None], :, members] = np.moveaxis(w_new[chosen], -1, 1)
        return True

    def _change(self, i: int, j: int, step: float | None) -> bool:
        levels = self._levels(j, self.raw[:, i, j], step)
        raw = np.repeat(self.raw[:, i][:, None], levels.shape[1], axis=1)
        raw[..., j] = levels
        new = self.model.rows(raw)  # (B, L, p)
        old, w_old = self.rows[:, i], self.weights[:, :, i]
        w_new = binary_weight(self.draws @ np.swapaxes(new, -1, -2), self.link)  # (B, S, L)
        v = ((new[:, None] @ self.D) * new[:, None]).sum(axis=-1)  # (B, S, L)
        D_old = (self.D @ old[:, None, :, None])[..., 0]  # (B, S, p)
        c = D_old @ np.swapaxes(new, -1, -2)
        h = (D_old * old[:, None]).sum(axis=-1)
        # determinant ratio of adding w_new f f' and removing w_old f_old f_old'
        ratio = (1.0 + w_new * v) * (1.0 - w_old * h)[..., None] + w_new * w_old[..., None] * c**2
        gain = np.log(np.maximum(ratio, 1e-300)).mean(axis=1)
        if self.limits:
            gain = np.where(feasible(self.limits, raw), gain, -np.inf)
        pick = np.argmax(gain, axis=1)
        which = np.flatnonzero(gain[np.arange(len(pick)), pick] > _GAIN)
        if not len(which):
            return False
        chosen = (which, pick[which])
        f, weight = new[chosen], w_new[which, :, pick[which]]
        self.M[which] += weight[..., None, None] * (f[:, :, None] * f[:, None, :])[:, None]
        removed = old[which][:, :, None] * old[which][:, None, :]
        self.M[which] -= w_old[which][..., None, None] * removed[:, None]
        self.D[which] = np.linalg.inv(self.M[which])
        self.raw[which, i], self.rows[which, i], self.weights[which, :, i] = raw[chosen], f, weight
        return True

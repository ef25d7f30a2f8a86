"""What is believed of one outcome while a series is played on in arrays, one row a path.

The latent chance f of an outcome at some tens of settings, the logit of being good or the mean of a measurement, is
normal: in the leading directions of the posterior draws f = m + L z with z ~ N(a, B). A melt at x moves it in closed
form:

    measured   y ~ N(f(x), s^2): the update of linear regression
    good, bad  Pr(good) = expit(f(x)), taken as Phi(f(x) / 1.702): z keeps the mean and variance of the exact
               result (assumed density filtering: Opper 1998; Minka 2001; the factor: Camilli 1994; all from memory)

The draws of a logit have a long tail towards certainty, which a normal form would mirror towards failure and then
unlearn too fast. Chances are therefore kept away from 0 and 1 by a tenth of the failures that the target allows each
outcome; beyond that it makes no difference whether the target is reached. A grade counts as good or not; what is read
on a bound only tells on which side of it f lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import expit, ndtr

from meltdoe.fit.stages.stage_chain import ChainFit, StageFit
from meltdoe.series.factor import FloatArray
from meltdoe.series.outcome import GoodRange

__all__ = ["LOGIT_PER_PROBIT", "Flags", "PlayedStage", "Positions", "played_stage"]

Positions: TypeAlias = npt.NDArray[np.intp]
Flags: TypeAlias = npt.NDArray[np.bool_]

LOGIT_PER_PROBIT = 1.702
_DIRECTIONS = 10  # of the draws of one stage
_TOLD = 0.995  # share of the spread that the directions keep
_SMALL = 0.1  # of the failures that the target allows each outcome: chances are kept so far from 0 and 1


@dataclass(eq=False)
class PlayedStage:
    """One outcome in all played series; changed in place as melts are made.

    Parameters
    ----------
    mid, along : m (n,) and L (n, r). mean, cov : a (paths, r) and B (paths, r, r).
    truth : (paths, n), the true latent value at every setting.
    noise : (paths,) true scatter of one measurement, None for good or bad; usual_noise : the scatter believed in, and
        noise_spread : standard deviation of its logarithm. read : (paths,) measurements since, which sharpen it.
    good, censored : ends of the good values, and of what can be read.
    after : position of the forerunner among the stages played, or None. loss : what a failure costs.
    """

    mid: FloatArray
    along: FloatArray
    mean: FloatArray
    cov: FloatArray
    truth: FloatArray
    noise: FloatArray | None
    usual_noise: float = 0.0
    noise_spread: float = 0.0
    read: FloatArray | None = None
    good: tuple[float, float] = (-np.inf, np.inf)
    censored: tuple[float, float] = (-np.inf, np.inf)
    after: int | None = None
    loss: float = 0.0

    @cached_property
    def _squares(self) -> FloatArray:
        """(r * r, n), so that a covariance times it is a variance at every setting."""
        outer = self.along[:, :, None] * self.along[:, None, :]
        return np.asarray(outer.reshape(len(outer), -1).T)

    def latent(self, paths: Positions) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of the latent value at every setting, each (paths, n)."""
        spread = self.cov[paths].reshape(len(paths), -1) @ self._squares
        return self.mid + self.mean[paths] @ self.along.T, np.maximum(spread, 1e-12)

    def chance(self, mean: FloatArray, variance: FloatArray | float) -> FloatArray:
        """Predictive chance of good."""
        if self.noise is None:
            return np.asarray(ndtr(mean / np.sqrt(LOGIT_PER_PROBIT**2 + variance)))
        return self._within(mean, np.sqrt(self.usual_noise**2 + variance))

    def known_chance(self, latent: FloatArray, noise: FloatArray | None = None) -> FloatArray:
        """Chance of good where the latent value is known, and the scatter of a measurement where it is given."""
        if self.noise is None:
            return np.asarray(expit(latent))
        return self._within(latent, self.usual_noise if noise is None else noise)

    def believed_noise(self, paths: Positions, normal: FloatArray) -> FloatArray | None:
        """What is believed of the scatter, (paths, n), at (n,) standard normal numbers; None for good or bad.

        The logarithm of a scatter seen in k deviations has a variance of about 1 / (2 k).
        """
        if self.noise is None or self.read is None:
            return None
        gained = 2.0 * self.noise_spread**2 * self.read[paths]
        middle = np.log(self.usual_noise) + gained / (1.0 + gained) * np.log(self.noise[paths] / self.usual_noise)
        return np.asarray(np.exp(middle[:, None] + self.noise_spread / np.sqrt(1.0 + gained)[:, None] * normal))

    def _within(self, mean: FloatArray, sd: FloatArray | float) -> FloatArray:
        low, high = self.good
        below = ndtr((high - mean) / sd) if np.isfinite(high) else 1.0
        return np.asarray(below - ndtr((low - mean) / sd) if np.isfinite(low) else below + np.zeros_like(mean))

    def told(self, chance: FloatArray, variance: FloatArray) -> FloatArray:
        """About what one melt tells, nats, where good has this predictive chance."""
        if self.noise is not None:
            return np.asarray(0.5 * np.log1p(variance / self.usual_noise**2))
        return np.asarray(0.5 * np.log1p(variance * chance * (1.0 - chance)))

    def melt(self, paths: Positions, at: Positions, rng: np.random.Generator) -> Flags:
        """Make a melt at setting `at` in each of some paths, learn from it, and say where it was good."""
        true = self.truth[paths, at]
        if self.noise is None:
            good = rng.random(len(paths)) < expit(true)
            self.learn(paths, at, np.where(good, 1.0, -1.0), np.zeros(len(paths)), LOGIT_PER_PROBIT)
            return good
        seen = np.clip(true + self.noise[paths] * rng.standard_normal(len(paths)), *self.censored)
        for end, sign in ((self.censored[0], -1.0), (self.censored[1], 1.0)):
            piled = seen == end
            if piled.any():
                self.learn(paths[piled], at[piled], np.full(piled.sum(), sign), np.full(piled.sum(), end),
                            self.usual_noise)  # fmt: skip
        free = (seen > self.censored[0]) & (seen < self.censored[1])
        self.regress(paths[free], at[free], seen[free])
        return np.asarray((seen >= self.good[0]) & (seen <= self.good[1]))

    def _at(self, paths: Positions, at: Positions) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Latent mean and variance at one setting a path, and its covariance with z."""
        row = self.along[at]
        joint = np.einsum("prq,pq->pr", self.cov[paths], row)
        variance = np.maximum(np.einsum("pr,pr->p", row, joint), 1e-12)
        return self.mid[at] + np.einsum("pr,pr->p", self.mean[paths], row), variance, joint

    def learn(self, paths: Positions, at: Positions, sign: FloatArray, edge: FloatArray, scale: float) -> None:
        """Condition on sign * (f - edge) having been on the right side, Phi(sign * (f - edge) / scale)."""
        mean, variance, joint = self._at(paths, at)
        total = np.sqrt(scale**2 + variance)
        z = sign * (mean - edge) / total
        ratio = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi) / np.maximum(ndtr(z), 1e-12)
        self.mean[paths] += joint * (sign * ratio / total)[:, None]
        shrink = ratio * (z + ratio) / total**2
        self.cov[paths] -= joint[:, :, None] * joint[:, None, :] * shrink[:, None, None]

    def regress(self, paths: Positions, at: Positions, seen: FloatArray) -> None:
        """Learn from measurements that were not cut off at a bound."""
        if self.read is not None:
            self.read[paths] += 1.0
        mean, variance, joint = self._at(paths, at)
        total = variance + self.usual_noise**2
        self.mean[paths] += joint * ((seen - mean) / total)[:, None]
        self.cov[paths] -= joint[:, :, None] * joint[:, None, :] / total[:, None, None]


def played_stage(
    chain: ChainFit, stage: StageFit, names: Sequence[str], settings: FloatArray, truths: Positions
) -> PlayedStage:
    """Where one outcome starts from.

    Parameters
    ----------
    names : of the outcomes played, in the order of the work. settings : (n, n_factors). truths : draws that are true.
    """
    outcome = stage.outcome
    extreme = float(np.clip(_SMALL * (1.0 - chain.series.target_chance) / len(names), 1e-4, 0.02))
    seen = stage.outcome_draws(settings) if outcome.kind == "measured" else None
    noise, usual, spread, good, censored = None, 0.0, 0.0, (0.0, 0.0), (-np.inf, np.inf)
    if isinstance(seen, tuple) and isinstance(outcome.good, GoodRange):
        latent, scatter = seen
        noise, usual, spread = scatter[truths], float(np.median(scatter)), float(np.log(scatter).std())
        censored = outcome.bounds or censored
        good = (
            -np.inf if outcome.good.low <= censored[0] else outcome.good.low,
            np.inf if outcome.good.high >= censored[1] else outcome.good.high,
        )
    else:
        chance = np.clip(stage.chance_draws(settings), extreme, 1.0 - extreme)
        latent = np.log(chance / (1.0 - chance))
    mid = latent.mean(axis=0)
    _, sizes, directions = np.linalg.svd((latent - mid)[:: max(len(latent) // 400, 1)], full_matrices=False)
    told = np.cumsum(sizes**2) / max(float((sizes**2).sum()), 1e-300)
    kept = directions[: min(int(np.searchsorted(told, _TOLD)) + 1, _DIRECTIONS)]
    z = (latent - mid) @ kept.T
    cov = np.atleast_2d(np.cov(z, rowvar=False))
    return PlayedStage(
        mid, kept.T.copy(), np.zeros((len(truths), len(kept))), np.tile(cov, (len(truths), 1, 1)), latent[truths],
        noise, usual, spread, np.zeros(len(truths)), good, censored,
        names.index(outcome.after) if outcome.after in names else None, chain.series.costs.loss.get(outcome.name, 0.0),
    )  # fmt: skip

"""A truth that the user states: a chance at a setting, and what each factor does to its log odds.

For every outcome, with `at` the stated setting and x any other,

    logit Pr(good at x) = logit chance + sum_f (c_f(x_f) - c_f(at_f)) + sum_ab w_ab (u_a - u_a(at)) (u_b - u_b(at)) + v

c_f is a line through points on the coded scale of the factor (a value per option for a choice), u the coded setting
divided by 2, so that w is what a step over both whole ranges adds beyond the two factors' own effects, and v ~ N(0,
firing_sd^2) is shared by the melts of one firing. What is seen follows from a latent value t = logit + e with e
standard logistic: good where t >= 0; grades stand one log odds apart on either side of 0; a measurement lies t times
`spread` on the good side of the end of its good range (in a range with two ends, from a side chosen at random).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from scipy.special import expit

from meltdoe.rehearsal.truth import Truth
from meltdoe.series.factor import Choice, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import GoodRange, Outcome, Seen, Unseen

__all__ = ["StatedOutcome", "StatedTruth"]

_BETWEEN_GRADES = 1.0  # log odds


@dataclass(frozen=True, slots=True)
class StatedOutcome:
    """What is supposed of one outcome, given that its forerunners were good.

    Parameters
    ----------
    log_odds : of being good at the setting `at`, given as a raw row, one value a factor.
    effects : by factor, points (position, log odds): coded positions for amounts and ordered factors, positions in
        the list of options for choices. Only differences between points matter.
    together : log odds by pair of factors.
    firing_sd : sd of what the melts of one firing share, log odds.
    spread : of a measurement, in its unit per log odds.
    """

    name: str
    log_odds: float
    at: tuple[float, ...]
    effects: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    together: Mapping[tuple[str, str], float] = field(default_factory=dict)
    firing_sd: float = 0.0
    spread: float = 1.0


@dataclass(frozen=True)
class StatedTruth(Truth):
    """A truth as stated for all outcomes of a series that count.

    Parameters
    ----------
    outcomes : one for each outcome that counts.
    """

    series: MeltSeries
    outcomes: tuple[StatedOutcome, ...]

    @cached_property
    def _by_name(self) -> dict[str, StatedOutcome]:
        return {outcome.name: outcome for outcome in self.outcomes}

    def chance(self, raw: FloatArray) -> FloatArray:
        table = np.atleast_2d(np.asarray(raw, dtype=float))
        product = np.ones(len(table))
        # Gauss-Hermite over the effect of a new firing
        nodes, weights = np.polynomial.hermite_e.hermegauss(15)
        for stated in self.outcomes:
            eta = self._log_odds(stated, table)
            product *= expit(eta[:, None] + stated.firing_sd * nodes) @ (weights / weights.sum())
        return product

    def values(self, outcome: Outcome, raw: FloatArray, firings: Sequence[int], rng: np.random.Generator) -> list[Seen]:
        if outcome.name not in self._by_name:
            return [Unseen.LOST] * len(raw)
        stated = self._by_name[outcome.name]
        numbers, place = np.unique(firings, return_inverse=True)
        shared = stated.firing_sd * rng.standard_normal(len(numbers))
        latent = self._log_odds(stated, raw) + shared[place] + rng.logistic(size=len(raw))
        side = rng.random(len(raw)) < 0.5
        return [_seen(outcome, stated, float(t), bool(up)) for t, up in zip(latent, side, strict=True)]

    def _log_odds(self, stated: StatedOutcome, raw: FloatArray) -> FloatArray:
        series, at = self.series, np.array([stated.at])
        eta = np.full(len(raw), stated.log_odds)
        for name, points in stated.effects.items():
            where, height = np.array(sorted(points)).T
            eta += np.interp(self._position(name, raw), where, height)
            eta -= np.interp(self._position(name, at), where, height)
        for (first, second), worth in stated.together.items():
            step = [
                series.coding.factor_columns(name, raw)[:, 0] - series.coding.factor_columns(name, at)[0, 0]
                for name in (first, second)
            ]
            eta += worth * step[0] * step[1] / 4.0
        return eta

    def _position(self, name: str, raw: FloatArray) -> FloatArray:
        if isinstance(self.series.factor(name), Choice):
            return np.asarray(raw[:, self.series.factor_names.index(name)])
        return np.asarray(self.series.coding.factor_columns(name, raw)[:, 0])


def _seen(outcome: Outcome, stated: StatedOutcome, latent: float, upper: bool) -> Seen:
    if outcome.kind == "pass":
        return latent >= 0.0
    if outcome.kind == "grade":
        good = sum(grade in (outcome.good or ()) for grade in outcome.grades)
        place = good - 1 - int(np.floor(latent / _BETWEEN_GRADES))
        return outcome.grades[min(max(place, 0), len(outcome.grades) - 1)]
    assert isinstance(outcome.good, GoodRange)
    low, high = outcome.bounds or (-np.inf, np.inf)
    return float(np.clip(_reading(outcome.good, stated.spread * latent, upper), low, high))


def _reading(good: GoodRange, inside: float, upper: bool) -> float:
    """A measurement that lies `inside` the good range by so much, or outside it where negative."""
    if np.isinf(good.high):
        return good.low + inside
    if np.isinf(good.low):
        return good.high - inside
    middle = (good.low + good.high) / 2.0
    away = max(0.0, (good.high - good.low) / 2.0 - inside)
    return middle + away if upper else middle - away

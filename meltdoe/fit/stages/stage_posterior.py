"""The posterior of one outcome and what it predicts: from rows, terms and beliefs to equally weighted draws.

Likelihood as in `meltdoe.fit.model.likelihood`, given that every forerunner was good. Prior: two scales by factor with
heredity (`meltdoe.fit.model.inclusion_prior`), the maker's beliefs as further rows (conditional means; Bedrick,
Christensen & Johnson 1996, J. Am. Stat. Assoc. 91, from memory), and chemistry's in the same form, mixed with a prior
that knows nothing of them (`meltdoe.fit.model.doubted_beliefs`). Circumstances take part with a fixed small prior and
stand at their average in every prediction. Firings that hold several melts have an effect of their own, which
predictions for a new firing average over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import assert_never

import numpy as np
from scipy.special import ndtr

from meltdoe.fit.draws.inclusion_mixture import Effort, MixturePosterior, mixture_posterior
from meltdoe.fit.draws.posterior_draws import Posterior
from meltdoe.fit.model.doubted_beliefs import DoubtedBeliefs
from meltdoe.fit.model.likelihood import Observed
from meltdoe.fit.model.prior import Belief
from meltdoe.fit.stages.stage_data import IntArray, StageData
from meltdoe.series.belief import Belief as Stated
from meltdoe.series.factor import FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import GoodRange, Outcome
from meltdoe.series.terms import Term

__all__ = [
    "equal_draws",
    "expected_reading",
    "good_chance",
    "model_rows",
    "seen_of",
    "stage_mixture",
    "term_inclusion",
    "thinned",
]

_ALL = slice(None)
_SMALLEST_BELIEF = 0.005  # a belief of 0 or 1 would let no melt speak against it


def model_rows(series: MeltSeries, terms: Sequence[Term], raw: FloatArray, n_nuisance: int) -> FloatArray:
    """Model matrix of raw settings (n, n_factors) with circumstances at their average, (n, n_columns)."""
    return np.column_stack([series.coding.matrix(terms, raw), np.zeros((len(raw), n_nuisance))])


def good_chance(draws: Posterior, outcome: Outcome, X: FloatArray) -> FloatArray:
    """Chance of good in a new firing; of the best grade, where grades are only described."""
    if outcome.kind == "measured":
        assert isinstance(outcome.good, GoodRange)
        return draws.chance(X, (outcome.good.low, outcome.good.high), new_group=True)
    if outcome.kind == "pass":
        return draws.chance(X, new_group=True)
    if outcome.kind != "grade":
        assert_never(outcome.kind)
    good = _good_grades(outcome)
    if good == tuple(range(len(good))) and len(good) < draws.n_grades:
        return _as_pass(draws, len(good) - 1).chance(X, new_group=True)
    return draws.chance(X, good, new_group=True)


def expected_reading(draws: Posterior, outcome: Outcome, X: FloatArray) -> FloatArray:
    """Mean of what would be read in a new firing, (n_draws, n): readings cannot lie beyond the bounds.

    With a = (low - m)/s and b = (high - m)/s the mean of a normal value held to [low, high] is
    low Phi(a) + high (1 - Phi(b)) + m (Phi(b) - Phi(a)) - s (phi(b) - phi(a)).
    """
    mean = draws.linear(X)
    if outcome.bounds is None or not np.isfinite(outcome.bounds).all():
        return mean
    low, high = outcome.bounds
    sd = np.hypot(np.exp(draws.shape[:, :1]), draws.group_sd[:, None])
    a, b = (low - mean) / sd, (high - mean) / sd
    density = (np.exp(-0.5 * b * b) - np.exp(-0.5 * a * a)) / math.sqrt(2 * math.pi)
    inside = ndtr(b) - ndtr(a)
    return np.clip(low * ndtr(a) + high * ndtr(-b) + mean * inside - sd * density, low, high)


def _as_pass(draws: Posterior, grade: int) -> Posterior:
    """ "`grade` or better" as a pass: P = F(k - x'b), one threshold in place of the constant and all signs turned."""
    behind = draws.draws[:, draws.n_coef + draws.n_shape :]
    turned = np.column_stack([draws.thresholds()[:, grade], -draws.coef[:, 1:], behind])
    return replace(draws, kind="pass", draws=turned, n_shape=0, n_grades=0)


def _good_grades(outcome: Outcome) -> tuple[int, ...]:
    if not isinstance(outcome.good, tuple):
        return (0,)
    return tuple(i for i, grade in enumerate(outcome.grades) if grade in outcome.good)


def stage_mixture(
    series: MeltSeries,
    data: StageData,
    terms: Sequence[Term],
    seed: Sequence[int],
    n_draws: int,
    beliefs: bool,
    effort: Effort = "full",
) -> MixturePosterior:
    """The posterior under the two-scale prior; a circumstance belongs to no factor and keeps one scale."""
    q = len(data.nuisance.names)
    by_column = series.coding.column_terms(terms)
    names = list(dict.fromkeys(name for term in terms for name in term.factors))
    members: list[tuple[int, ...]] = [
        () if term is None else tuple(names.index(name) for name in term.factors) for term in by_column
    ]
    orders = [0 if term is None else term.order for term in by_column]
    outcome = data.outcome
    observed = seen_of(data)
    observed["groups"] = data.groups
    if outcome.kind == "measured":
        observed["centre"], observed["scale"] = _units(data)
    chemistry = series.chemistry_prior
    doubted = None
    if beliefs:
        observed["beliefs"] = _beliefs(series, series.beliefs, outcome, terms, q)
    if beliefs and chemistry is not None:
        doubted = DoubtedBeliefs(_beliefs(series, chemistry.beliefs, outcome, terms, q), chemistry.trust)
    X = np.column_stack([series.coding.matrix(terms, data.raw), data.nuisance.columns])
    members += [()] * q
    orders += [2] * q
    return mixture_posterior(
        X,
        data.y,
        outcome.kind,
        factors=members,
        orders=orders,
        seed=int(np.random.SeedSequence(seed).generate_state(1)[0]),
        draws=n_draws,
        effort=effort,
        doubted=doubted,
        **observed,
    )


def seen_of(data: StageData, rows: IntArray | slice = _ALL) -> Observed:
    """What a likelihood must be told of these rows beside their values, in the outcome's own units."""
    if data.outcome.kind == "grade":
        return {"n_grades": len(data.outcome.grades)}
    if data.outcome.kind == "measured":
        bounds = data.outcome.bounds or (-math.inf, math.inf)
        return {"censored": data.censored[rows], "bounds": bounds, "centre": 0.0, "scale": 1.0}
    return {}


def _units(data: StageData) -> tuple[float, float]:
    """Centre and scale in whose units the prior of a measurement is meant.

    The scale is the spread of the rows, pooled with two rows' worth of what was said before: a quarter of the distance
    of the bounds, or the distance to what is good. A few values that agree by chance must not make all effects small.
    The weights are this project's choice.
    """
    good = data.outcome.good if isinstance(data.outcome.good, GoodRange) else GoodRange()
    ends = [end for end in (data.outcome.bounds or ()) if math.isfinite(end)]
    marks = ends if len(ends) == 2 else [end for end in (good.low, good.high) if math.isfinite(end)]
    n = data.n_seen
    centre = float(data.y.mean()) if n else float(np.mean(marks)) if marks else 0.0
    before = (ends[1] - ends[0]) / 4 if len(ends) == 2 else max((abs(mark - centre) for mark in marks), default=0.0)
    spread = float(data.y.std()) if n > 1 else 0.0
    pooled = math.sqrt((n * spread**2 + 2 * before**2) / (n + 2)) if before > 0 else spread
    return centre, pooled if pooled > 1e-9 * max(1.0, abs(centre)) else abs(centre) / 4 or 1.0


def _beliefs(
    series: MeltSeries, held: Sequence[Stated], outcome: Outcome, terms: Sequence[Term], n_nuisance: int
) -> tuple[Belief, ...]:
    """Those about one outcome as rows of its model; factors that are not named stand in their middle."""
    found = []
    good: tuple[float, ...] | None = None
    if outcome.kind == "grade":
        good = _good_grades(outcome)
    elif isinstance(outcome.good, GoodRange):
        good = (outcome.good.low, outcome.good.high)
    for belief in held:
        if belief.outcome != outcome.name or belief.worth <= 0 or (outcome.kind == "measured" and good is None):
            continue
        given = series.raw(belief.at)
        raw = np.where(np.isnan(given), series.coding.centre(), given)
        row = model_rows(series, terms, raw[None], n_nuisance)[0]
        chance = min(max(belief.chance, _SMALLEST_BELIEF), 1.0 - _SMALLEST_BELIEF)
        found.append(Belief(row, chance, belief.worth, good))
    return tuple(found)


def term_inclusion(terms: Sequence[Term], mixture: MixturePosterior) -> dict[Term, float]:
    """Chance that each term matters: that all its factors are active."""
    names = list(dict.fromkeys(name for term in terms for name in term.factors))
    return {
        term: float(
            mixture.pattern_chances @ mixture.patterns[:, [names.index(name) for name in term.factors]].all(axis=1)
        )
        for term in terms
    }


def equal_draws(weighted: Posterior, n_draws: int, seed: Sequence[int]) -> Posterior:
    """Equally weighted draws in random order: draws of two outcomes must not share an order by pattern."""
    rng = np.random.default_rng([*seed, 1])
    drawn = weighted.equally_weighted(n_draws, int(rng.integers(2**31)))
    return replace(drawn, draws=drawn.draws[rng.permutation(n_draws)])


def thinned(posterior: Posterior, thin: int) -> Posterior:
    """Every `thin`-th draw."""
    if thin == 1:
        return posterior
    draws = posterior.draws[::thin]
    return replace(posterior, draws=draws, weights=np.full(len(draws), 1.0 / len(draws)))

"""Beliefs that may be wrong as a whole: the mixture against its definition, and how fast melts overrule it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit

from meltdoe.fit.draws.inclusion_mixture import mixture_posterior
from meltdoe.fit.model.doubted_beliefs import DoubtedBeliefs
from meltdoe.fit.model.inclusion_prior import InclusionPrior, SeriesClass
from meltdoe.fit.model.prior import Belief

HIGH, LOW = np.array([1.0, 1.0]), np.array([1.0, -1.0])
BELIEFS = (Belief(HIGH, 0.9, 2.0), Belief(LOW, 0.1, 2.0))
X = np.array([HIGH, LOW, HIGH, LOW, HIGH])
AS_BELIEVED, AGAINST = np.array([1.0, 0, 1, 0, 1]), np.array([0.0, 1, 0, 1, 0])
# One class and every factor active: the prior of the coefficients is a Gaussian that a grid can integrate.
PLAIN = InclusionPrior(intercept_sd=2.0, classes=(SeriesClass(1.0, 1.0 - 1e-12),))


def fitted(y, trust, rows=X, **given):
    return mixture_posterior(
        rows, y, doubted=DoubtedBeliefs(BELIEFS, trust), prior=PLAIN, draws=8000, seed=3, **given
    )  # fmt: skip


def by_grid(y, trust, rows=X):
    """Chance that the beliefs are right and mean chance at HIGH, summed over a grid of both coefficients."""
    b = np.linspace(-14.0, 14.0, 561)
    first, second = (part.ravel() for part in np.meshgrid(b, b, indexing="ij"))
    log_prior = -0.5 * (first / 2.0) ** 2 - 0.5 * (second / 2.0) ** 2
    prior = np.exp(log_prior - np.logaddexp.reduce(log_prior))

    def chance(row):
        return expit(row[0] * first + row[1] * second)

    melts = np.prod([np.where(hit, chance(row), 1.0 - chance(row)) for row, hit in zip(rows, y, strict=True)], axis=0)
    told = np.prod(
        [chance(b.row) ** b.successes * (1.0 - chance(b.row)) ** b.failures for b in BELIEFS], axis=0
    )  # fmt: skip
    sure = trust * told / (prior @ told)
    whole = prior * melts * (sure + 1.0 - trust)
    return (prior * melts) @ sure / whole.sum(), whole @ chance(HIGH) / whole.sum()


@pytest.mark.parametrize("y", [AS_BELIEVED, AGAINST], ids=["as believed", "against"])
@pytest.mark.parametrize("trust", [0.1, 0.5, 0.9])
def test_chance_of_being_right_and_predictions_are_those_of_the_definition(y, trust):
    found = fitted(y, trust)
    right, chance = by_grid(y, trust)
    assert found.right == pytest.approx(right, abs=0.02)
    assert found.posterior.chance(HIGH).mean() == pytest.approx(chance, abs=0.02)


def test_without_melts_the_trust_stands_and_the_prior_is_the_mixture():
    found = fitted(np.empty(0), 0.4, rows=np.empty((0, 2)))
    assert found.right == pytest.approx(0.4, abs=0.02)
    assert found.posterior.chance(HIGH).mean() == pytest.approx(by_grid([], 0.4, rows=[])[1], abs=0.02)


def test_contradicting_melts_overrule_doubted_beliefs_sooner_than_held_ones():
    held = mixture_posterior(X, AGAINST, prior=PLAIN, draws=8000, seed=3, beliefs=BELIEFS)
    without = mixture_posterior(X, AGAINST, prior=PLAIN, draws=8000, seed=3)
    doubted = fitted(AGAINST, 0.3)
    assert np.isnan(held.right)
    assert doubted.right < 0.15
    by_melts, by_doubted, by_held = (one.posterior.chance(HIGH).mean() for one in (without, doubted, held))
    assert by_melts < by_doubted < by_melts + 0.3 * (by_held - by_melts)


def test_chains_agree_with_patterns(monkeypatch):
    by_patterns = fitted(AGAINST, 0.5)
    monkeypatch.setattr("meltdoe.fit.draws.inclusion_mixture._MOST_FACTORS", {"full": 0})
    by_chains = fitted(AGAINST, 0.5)
    assert by_chains.posterior.diagnostics.method == "slice"
    assert by_chains.right == pytest.approx(by_patterns.right, abs=0.03)
    assert by_chains.posterior.chance(HIGH).mean() == pytest.approx(by_patterns.posterior.chance(HIGH).mean(), abs=0.03)


@pytest.mark.parametrize("kind", ["grade", "measured"])
def test_graded_and_measured_outcomes_are_doubted_in_their_own_units(kind):
    good = (0,) if kind == "grade" else (70.0, np.inf)
    told = DoubtedBeliefs(tuple(Belief(b.row, b.chance, b.worth, good) for b in BELIEFS), 0.5)
    right = []
    for turned in (False, True):
        high = (AS_BELIEVED == 1) != turned
        y = np.where(high, 0, 2) if kind == "grade" else np.where(high, 90.0, 50.0) + np.arange(5)
        own = {"n_grades": 3} if kind == "grade" else {"centre": 70.0, "scale": 20.0, "bounds": (0.0, 100.0)}
        right.append(mixture_posterior(X, y, kind, doubted=told, seed=1, draws=2000, **own).right)
    assert right[1] < 0.35 < 0.5 < right[0]


@pytest.mark.parametrize("trust", [0.0, 1.0, -1.0])
def test_a_trust_that_no_melt_could_change_is_refused(trust):
    with pytest.raises(ValueError, match="strictly between 0 and 1"):
        fitted(AGAINST, trust)

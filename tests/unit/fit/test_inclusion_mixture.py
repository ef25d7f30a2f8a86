"""The two-scale prior: both ways of computing it, what it finds, and whether its intervals cover."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit, logsumexp
from scipy.stats import norm

from meltdoe.fit import inclusion_mixture
from meltdoe.fit.inclusion_mixture import mixture_posterior
from meltdoe.fit.inclusion_prior import InclusionPrior, TermRoles, knots_of
from meltdoe.fit.likelihood import make_likelihood
from meltdoe.fit.prior import Belief, ShapePrior

PRIOR = InclusionPrior()


def table(n, k, seed):
    rng = np.random.default_rng(seed)
    return np.column_stack([np.ones(n), rng.choice([-1.0, 1.0], (n, k))]), rng


def test_density_over_knots_is_the_sum_over_all_patterns():
    """Three factors, a product of the first two and a square of the third."""
    roles = TermRoles(((), (0,), (1,), (2,), (0, 1), (2,)), (0, 1, 1, 1, 2, 2))
    b = np.random.default_rng(0).standard_normal((5, 6))
    patterns = np.array([[i & 1, i >> 1 & 1, i >> 2 & 1] for i in range(8)], dtype=bool)
    sds = roles.sds(PRIOR, patterns, "pass")
    weight = np.where(patterns, 0.4, 0.6).prod(axis=1)
    whole = logsumexp(norm.logpdf(b[:, None, :], 0, sds).sum(axis=2), b=weight, axis=1)
    knots = knots_of(roles, PRIOR, "pass")
    assert sorted(len(set_) for knot in knots for set_ in knot.factors) == [0, 1, 2]
    parts = sum(knot.log_density(b) for knot in knots)
    assert parts - whole == pytest.approx(np.full(5, parts[0] - whole[0]))


def test_a_product_is_wide_only_where_both_factors_are_active():
    roles = TermRoles(((), (0,), (1,), (0, 1)), (0, 1, 1, 2))
    sds = roles.sds(PRIOR, np.array([[0, 0], [1, 0], [1, 1]], dtype=bool), "pass")
    assert sds.tolist() == [[2, 0.3, 0.3, 0.15], [2, 2, 0.3, 0.15], [2, 2, 2, 0.75]]
    assert PRIOR.widened(2).slab_sd == 4.0
    assert PRIOR.widened(2).intercept_sd is None


@pytest.mark.parametrize(
    ("kind", "groups"),
    [("pass", False), ("grade", False), ("pass", True), ("grade", True), ("measured", False), ("measured", True)],
)
def test_weights_and_chains_agree(kind, groups):
    X, rng = table(14, 4, 3)
    options = {"groups": np.arange(14) // 3} if groups else {}
    y = (rng.random(14) < expit(2.5 * X[:, 1])).astype(float)
    if kind == "grade":
        y, options["n_grades"] = y + rng.integers(0, 2, 14), 4
    if kind == "measured":
        y, options["bounds"] = np.clip(75 + 20 * X[:, 1] + 10 * rng.standard_normal(14), 0, 100), (0, 100)
        options["beliefs"] = [Belief(X[0], 0.8, 2.0, good=(60, 100))]
    likelihood = make_likelihood(X, y, kind, **options)
    assert kind != "measured" or (likelihood.censored == 1).sum() >= 3
    roles = TermRoles(((), (0,), (1,), (2,), (3,)), (0, 1, 1, 1, 1))
    one = inclusion_mixture._by_patterns(likelihood, roles, PRIOR, 4000, np.random.default_rng(0), "full")
    two = inclusion_mixture._by_chains(likelihood, roles, PRIOR, 8000, np.random.default_rng(1), "full")
    assert one.posterior.diagnostics.trusted
    assert one.inclusion == pytest.approx(two.inclusion, abs=0.04)
    sd = two.posterior.sd
    assert (one.posterior.mean - two.posterior.mean) / sd == pytest.approx(np.zeros(likelihood.size), abs=0.15)
    for mine, other in zip(
        one.posterior.interval(one.posterior.draws), two.posterior.interval(two.posterior.draws), strict=True
    ):
        assert (mine - other) / sd == pytest.approx(np.zeros(likelihood.size), abs=0.35)


def test_the_factor_that_matters_is_found():
    X, rng = table(24, 6, 8)
    found = mixture_posterior(X, (rng.random(24) < expit(3 * X[:, 2])).astype(int))
    assert found.inclusion[1] == found.inclusion.max() > 0.9
    assert found.inclusion.min() < 0.4
    assert found.pattern_chances.sum() == pytest.approx(1)
    assert found.pattern_chances @ found.patterns == pytest.approx(found.inclusion)
    assert found.posterior.diagnostics.trusted


@pytest.mark.parametrize("groups", [None, True])
def test_measured_outcomes(groups):
    X, rng = table(16, 7, 1)
    y = np.clip(70 + 22 * X[:, 1] + 6 * rng.standard_normal(16), 0, 100)
    found = mixture_posterior(
        X, y, "measured", bounds=(0, 100), groups=None if groups is None else np.arange(16) // 3, draws=2000
    )
    assert found.inclusion[0] > 0.7
    assert found.inclusion[1:].max() < 0.3
    assert found.posterior.mean[:2] == pytest.approx([70, 22], abs=8)
    assert found.posterior.diagnostics.effective > 1000


def test_without_melts_inclusion_is_the_prior():
    found = mixture_posterior(np.empty((0, 4)), [])
    assert found.inclusion == pytest.approx(np.full(3, 0.4), abs=0.03)


def test_twelve_factors_go_to_the_chains():
    X, rng = table(20, 12, 2)
    found = mixture_posterior(X, (rng.random(20) < expit(3 * X[:, 4])).astype(int))
    assert found.posterior.diagnostics.method == "slice"
    assert found.inclusion.argmax() == 3


@pytest.mark.parametrize("kind", ["pass", "measured"])
def test_a_draft_is_coarse_and_near(kind):
    X, rng = table(16, 4, 5)
    y = (rng.random(16) < expit(3 * X[:, 2])).astype(float) if kind == "pass" else 3 * X[:, 2] + rng.standard_normal(16)
    groups = np.arange(16) // 2
    draft = mixture_posterior(X, y, kind, groups=groups, effort="draft")
    full = mixture_posterior(X, y, kind, groups=groups)
    assert len(draft.posterior.draws) == 400
    assert not draft.posterior.diagnostics.trusted
    assert draft.inclusion == pytest.approx(full.inclusion, abs=0.1)
    away = (draft.posterior.mean - full.posterior.mean) / full.posterior.sd
    assert away == pytest.approx(np.zeros(away.size), abs=0.25)


def test_same_seed_same_draws():
    X, rng = table(10, 3, 0)
    y = rng.integers(0, 2, 10)
    one, two = (mixture_posterior(X, y, seed=3).posterior.draws for _ in range(2))
    assert one.tobytes() == two.tobytes()


def test_columns_without_roles_are_refused():
    X, _ = table(6, 3, 0)
    with pytest.raises(ValueError, match="all 4 columns"):
        mixture_posterior(X, [0, 1, 0, 1, 1, 0], factors=[(), (0,)])


def test_intervals_cover_where_the_truth_comes_from_the_prior():
    """120 sets of 8, 12 or 16 melts and 3 to 5 factors: about 90 % of true slopes and chances within 90 % limits.

    The counts are binomial with correlation within a set; 0.86 to 0.94 is more than three standard errors either way.
    """
    rng = np.random.default_rng(17)
    slopes = chances = tried = looked = 0
    for i in range(120):
        n, k = (8, 12, 16)[i % 3], 3 + i % 3
        X = np.column_stack([np.ones(n), rng.choice([-1.0, 1.0], (n, k))])
        truth = np.append(2 * rng.standard_normal(1), np.where(rng.random(k) < 0.4, 2.0, 0.3) * rng.standard_normal(k))
        y = (rng.random(n) < expit(X @ truth)).astype(int)
        fit = mixture_posterior(X, y, seed=i, draws=1000).posterior
        low, high = fit.interval(fit.coef[:, 1:])
        slopes += int(((low <= truth[1:]) & (truth[1:] <= high)).sum())
        tried += k
        new = np.column_stack([np.ones(10), rng.uniform(-1, 1, (10, k))])
        low, high = fit.interval(fit.chance(new))
        p = expit(new @ truth)
        chances += int(((low <= p) & (p <= high)).sum())
        looked += 10
    assert slopes / tried == pytest.approx(0.90, abs=0.04)
    assert chances / looked == pytest.approx(0.90, abs=0.04)


def test_every_rank_of_a_measured_truth_is_as_likely():
    """Truth from the prior, 240 drafts of values that pile up at 0 and 100, half with firings: ranks are uniform.

    Talts, Betancourt, Simpson, Vehtari & Gelman 2018 (from memory). Five parameters a set into ten bins: chi-square on
    9 degrees of freedom lies below 27.9 with chance 0.999. Ninety-per-cent intervals hold their share.
    """
    rng, shape, ranks = np.random.default_rng(23), ShapePrior(), []
    for i in range(240):
        n, groups = (8, 14)[i % 2], np.arange((8, 14)[i % 2]) // 2
        X = np.column_stack([np.ones(n), rng.choice([-1.0, 1.0], (n, 3))])
        slopes = np.where(rng.random(3) < 0.4, 2.0, 0.3) * rng.standard_normal(3)
        truth = [2.0 * rng.standard_normal(), *slopes, rng.normal(*shape.log_sigma)]
        eta = X @ truth[:4]
        options = {}
        if i % 4 < 2:
            truth.append(rng.normal(*shape.log_group_sd))
            eta += np.exp(truth[5]) * rng.standard_normal(n)[groups]
            options["groups"] = groups
        y = np.clip(50 + 25 * (eta + np.exp(truth[4]) * rng.standard_normal(n)), 0, 100)
        fit = mixture_posterior(X, y, "measured", bounds=(0, 100), seed=i, effort="draft", **options).posterior
        drawn = (fit.draws[:, : len(truth)] - [50, 0, 0, 0, *[np.log(25)] * (len(truth) - 4)]) / [
            *[25.0] * 4,
            *[1.0] * (len(truth) - 4),
        ]
        ranks.append((drawn < truth).mean(axis=0)[:5])
    table_of = np.array(ranks)
    for column in table_of.T:
        count = np.histogram(column, np.linspace(0, 1, 11))[0]
        assert ((count - 24) ** 2 / 24).sum() < 27.9
    assert ((table_of > 0.05) & (table_of < 0.95)).mean() == pytest.approx(0.9, abs=0.03)

"""The two-scale prior: both ways of computing it, what it finds, and whether its intervals cover."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit, logsumexp
from scipy.stats import norm

from meltdoe.fit.draws import inclusion_mixture
from meltdoe.fit.draws.inclusion_mixture import mixture_posterior
from meltdoe.fit.model.inclusion_density import inclusion_density
from meltdoe.fit.model.inclusion_prior import SERIES_CLASSES, InclusionPrior, TermRoles
from meltdoe.fit.model.likelihood import make_likelihood
from meltdoe.fit.model.prior import Belief, ShapePrior

PRIOR = InclusionPrior()


def table(n, k, seed):
    rng = np.random.default_rng(seed)
    return np.column_stack([np.ones(n), rng.choice([-1.0, 1.0], (n, k))]), rng


def all_patterns(k):
    return np.array([[i >> j & 1 for j in range(k)] for i in range(2**k)], dtype=bool)


def whole_density(roles, b):
    """Log density of coefficients (s, p), chance that each factor is active: all classes and patterns at once."""
    patterns = all_patterns(roles.n_factors)
    logs = [
        norm.logpdf(b[:, None, :], 0, roles.sds(PRIOR.widened(one.steepness), patterns, "pass")).sum(axis=2)
        + np.log(one.chance * np.where(patterns, one.active, 1 - one.active).prod(axis=1))
        for one in SERIES_CLASSES
    ]
    both = np.hstack(logs)
    weight = np.exp(both - logsumexp(both, axis=1, keepdims=True))
    return logsumexp(both, axis=1), weight @ np.tile(patterns, (len(SERIES_CLASSES), 1))


def test_density_over_knots_is_the_sum_over_all_patterns_and_classes():
    """Three factors, a product of the first two and a square of the third."""
    roles = TermRoles(((), (0,), (1,), (2,), (0, 1), (2,)), (0, 1, 1, 1, 2, 2))
    b = np.random.default_rng(0).standard_normal((5, 6))
    whole, active = whole_density(roles, b)
    density = inclusion_density(roles, PRIOR, "pass")
    parts = density.log_density(b)
    assert parts - whole == pytest.approx(np.full(5, parts[0] - whole[0]))
    drawn, sd, inclusion = density.given(np.repeat(b[:1], 8000, axis=0), np.random.default_rng(1))
    assert inclusion == pytest.approx(active[0])
    assert drawn.mean(axis=0) == pytest.approx(active[0], abs=0.02)
    assert set(np.unique(sd[:, 1]).round(3)) == {0.3, 0.75, 2.0, 5.0}
    assert np.array_equal(sd[:, 1] > 1.0, drawn[:, 0])


def test_variance_of_main_effects_over_patterns_and_classes():
    expected = sum(
        one.chance * one.steepness**2 * (one.active * 4.0 + (1 - one.active) * 0.09) for one in SERIES_CLASSES
    )
    roles = TermRoles(((), (0,), (1,)), (0, 1, 1))
    assert inclusion_density(roles, PRIOR, "pass").variance() == pytest.approx([4.0, expected, expected])


def test_many_factors_share_the_number_of_active_ones_to_be_expected():
    assert PRIOR.active(3) == PRIOR.active(6) == pytest.approx(sum(c.chance * c.active for c in SERIES_CLASSES))
    assert 40 * PRIOR.active(40) == pytest.approx(6 * PRIOR.active(6))
    assert sum(c.chance for c in SERIES_CLASSES) == pytest.approx(1.0)
    for scale in PRIOR.scales(40):
        assert max(scale.active) <= 0.075 + 1e-12


def test_effects_of_measured_outcomes_are_meant_in_units_of_sigma():
    roles = TermRoles(((), (0,), ()), (0, 1, 2))
    assert roles.per_sigma("measured").tolist() == [False, True, True]
    assert not roles.per_sigma("pass").any()
    assert roles.sds(PRIOR, np.array([[False], [True]]), "measured").tolist() == [[2, 0.15, 1.5], [2, 2, 1.5]]


def test_an_effect_counts_by_the_scatter_around_it_and_not_by_a_larger_effect_beside_it():
    """The second factor moves a measurement by three of its standard errors either way, the first by twenty."""
    X = np.column_stack([np.ones(16), all_patterns(4) * 2.0 - 1.0])
    scatter = np.random.default_rng(2).standard_normal(16)
    scatter -= X @ np.linalg.lstsq(X, scatter, rcond=None)[0]
    scatter *= 4.0 / np.sqrt(scatter @ scatter / 11)
    large = mixture_posterior(X, 50 + 20 * X[:, 1] + 5 * X[:, 2] + scatter, "measured", bounds=(-200, 300))
    alone = mixture_posterior(X, 50 + 5 * X[:, 2] + scatter, "measured", bounds=(-200, 300))
    assert large.inclusion[0] > 0.95
    assert large.inclusion[1] > 0.7
    assert large.inclusion[2:].max() < 0.4
    assert abs(large.inclusion[1] - alone.inclusion[1]) < 0.15


def test_a_product_is_wide_only_where_both_factors_are_active():
    roles = TermRoles(((), (0,), (1,), (0, 1)), (0, 1, 1, 2))
    sds = roles.sds(PRIOR, np.array([[0, 0], [1, 0], [1, 1]], dtype=bool), "pass")
    assert sds.tolist() == [[2, 0.3, 0.3, 0.15], [2, 2, 0.3, 0.15], [2, 2, 2, 1.5]]
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
    assert found.inclusion == pytest.approx(np.full(3, PRIOR.active(3)), abs=0.03)


@pytest.mark.parametrize(
    ("factors", "effort", "method"), [(12, "full", "importance"), (14, "full", "slice"), (12, "draft", "slice")]
)
def test_all_patterns_are_looked_at_up_to_thirteen_factors_and_fewer_where_fits_are_many(factors, effort, method):
    X, rng = table(20, factors, 2)
    found = mixture_posterior(X, (rng.random(20) < expit(3 * X[:, 4])).astype(int), effort=effort)
    assert found.posterior.diagnostics.method == method
    assert found.inclusion.argmax() == 3
    if method == "importance":
        assert found.posterior.diagnostics.trusted


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


def steepness_and_share(rng):
    one = SERIES_CLASSES[rng.choice(3, p=[c.chance for c in SERIES_CLASSES])]
    return one.steepness, one.active


def test_intervals_cover_where_the_truth_comes_from_the_prior():
    """120 sets of 8, 12 or 16 melts and 3 to 5 factors: about 90 % of true slopes and chances within 90 % limits.

    The counts are binomial with correlation within a set; 0.86 to 0.94 is more than three standard errors either way.
    """
    rng = np.random.default_rng(17)
    slopes = chances = tried = looked = 0
    for i in range(120):
        n, k = (8, 12, 16)[i % 3], 3 + i % 3
        X = np.column_stack([np.ones(n), rng.choice([-1.0, 1.0], (n, k))])
        steep, share = steepness_and_share(rng)
        sds = steep * np.where(rng.random(k) < share, 2.0, 0.3)
        truth = np.append(2 * rng.standard_normal(1), sds * rng.standard_normal(k))
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
        steep, share = steepness_and_share(rng)
        log_sigma = rng.normal(*shape.log_sigma)
        slopes = np.exp(log_sigma) * steep * np.where(rng.random(3) < share, 2.0, 0.15) * rng.standard_normal(3)
        truth = [2.0 * rng.standard_normal(), *slopes, log_sigma]
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

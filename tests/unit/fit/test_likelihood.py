"""Likelihoods of the three kinds of outcome: values by hand, derivatives, tails, what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit
from scipy.stats import norm

from meltdoe.fit.model.likelihood import make_likelihood
from meltdoe.fit.model.log_chances import log_grade_chances, log_interval_chance
from meltdoe.fit.model.prior import Belief

X = np.array([[1, -1, 0], [1, 1, 1], [1, -1, -1], [1, 1, 0], [1, -1, 1], [1, 1, -1]], dtype=float)
GROUPS = [0, 0, 1, 1, -1, 0]
SETS = {
    "pass": (make_likelihood(X, [1, 0, 1, 1, 0, 0], "pass", groups=GROUPS, beliefs=[Belief(X[0], 0.6, 2.0)])),
    "counts": (make_likelihood(X, [3, 0, 1, 2, 0, 4], "pass", trials=[4, 2, 1, 2, 3, 4])),
    "grade": make_likelihood(
        X, [0, 1, 3, 0, 2, 1], "grade", n_grades=4, groups=GROUPS, beliefs=[Belief(X[1], 0.3, 1.5, good=(0, 1))]
    ),
    "measured": make_likelihood(
        X,
        [1.2, 0.1, -0.3, 0.8, 2.0, -1.0],
        "measured",
        groups=GROUPS,
        centre=0.0,
        scale=1.0,
        censored=[0, 0, -1, 1, 0, 0],
        beliefs=[Belief(X[2], 0.7, 1.0, good=(-1.0, 1.5))],
    ),
}


@pytest.mark.parametrize("name", SETS)
def test_derivatives_are_those_of_the_value(name):
    likelihood = SETS[name]
    theta = 0.5 * np.random.default_rng(1).standard_normal((3, likelihood.size))
    found = likelihood.derivatives(theta)
    assert found.value == pytest.approx(likelihood.log_likelihood(theta), abs=1e-12)
    h = 1e-4
    for i in range(likelihood.size):
        up, down = theta.copy(), theta.copy()
        up[:, i] += h
        down[:, i] -= h
        slope = (likelihood.log_likelihood(up) - likelihood.log_likelihood(down)) / (2 * h)
        assert found.gradient[:, i] == pytest.approx(slope, abs=2e-4)
        bend = (likelihood.derivatives(up).gradient - likelihood.derivatives(down).gradient) / (2 * h)
        assert found.hessian[:, i] == pytest.approx(bend, abs=2e-3)


def test_a_pass_by_hand():
    likelihood = make_likelihood([[1.0, 2.0], [1.0, -1.0]], [1, 0])
    assert likelihood.log_likelihood(np.array([[0.5, 1.0]]))[0] == pytest.approx(
        np.log(expit(2.5)) + np.log(1 - expit(-0.5))
    )


def test_a_belief_is_worth_its_melts():
    """Beta(a, b) on a chance is a passes and b failures on the scale of log odds."""
    believed = make_likelihood(X[:1], [1], beliefs=[Belief(X[1], 0.75, 4.0)])
    seen = make_likelihood(X[:2], [1, 3], trials=[1, 4])
    theta = np.random.default_rng(0).standard_normal((5, 3))
    assert believed.log_likelihood(theta) == pytest.approx(seen.log_likelihood(theta))


def test_a_belief_about_good_grades_or_values_is_the_logarithm_of_its_chance():
    theta = np.array([[0.3, -0.2, 0.5, 0.1, -0.4]])
    with_, without = (
        make_likelihood(X, [0, 1, 2, 0, 1, 2], "grade", n_grades=4, beliefs=b)
        for b in ((Belief(X[0], 0.8, 2.0, good=(0, 1)),), ())
    )
    chances = np.exp(log_grade_chances(X[:1] @ theta[0, :3], theta[0, 3:]))[0]
    good = chances[:2].sum()
    added = with_.log_likelihood(theta)[0] - without.log_likelihood(theta)[0]
    assert added == pytest.approx(1.6 * np.log(good) + 0.4 * np.log(1 - good))


def test_grades_add_up_and_two_of_them_are_pass_and_fail():
    eta = np.linspace(-30, 30, 7)
    logs = log_grade_chances(eta, np.array([0.2, -1.0]))
    assert logs.shape == (7, 4)
    assert np.exp(logs).sum(axis=-1) == pytest.approx(np.ones(7))
    assert np.isfinite(logs).all()
    theta = np.random.default_rng(0).standard_normal((4, 3))
    y = [1, 0, 0, 1, 1, 0]
    two = make_likelihood(X, y, "grade", n_grades=2)
    assert two.log_likelihood(theta) == pytest.approx(make_likelihood(X, y).log_likelihood(theta))


def test_grade_chances_keep_their_digits_far_out():
    """Both thresholds 60 log odds away: the difference of the two logistic functions would be 0."""
    log_chance = log_grade_chances(np.array([60.0]), np.array([0.0]))[0, 1]
    assert log_chance == pytest.approx(-60 + np.log(np.exp(1) - 1), abs=1e-9)


def test_an_unseen_grade_keeps_its_place():
    likelihood = make_likelihood(X, [0, 0, 3, 0, 3, 3], "grade", n_grades=5)
    assert likelihood.n_shape == 3
    assert np.isfinite(likelihood.log_likelihood(np.zeros((1, likelihood.size)))[0])


def test_censored_values_count_the_tail():
    likelihood = make_likelihood(X[:2], [50.0, 100.0], "measured", bounds=(0, 100))
    assert likelihood.censored.tolist() == [0, 1]
    assert (likelihood.centre, likelihood.scale) == (50.0, 25.0)
    theta = np.array([[0.2, 0.1, 0.0, -0.5]])
    eta, sigma = X[:2] @ theta[0, :3], np.exp(-0.5)
    expected = norm.logpdf(0.0, eta[0], sigma) + norm.logsf(2.0, eta[1], sigma)
    assert likelihood.log_likelihood(theta)[0] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("low", "high"), [(-1.0, 2.0), (0.1, 0.2), (30.0, 31.0), (-31.0, -30.0), (-np.inf, 0.5), (1.0, np.inf)]
)
def test_chance_of_an_interval(low, high):
    inside, outside = log_interval_chance(np.array(low), np.array(high))
    wanted = np.log(norm.cdf(-low) - norm.cdf(-high)) if low > 0 else np.log(norm.cdf(high) - norm.cdf(low))
    assert inside == pytest.approx(wanted, rel=1e-9)
    assert outside == pytest.approx(np.logaddexp(norm.logcdf(low), norm.logsf(high)), rel=1e-9, abs=1e-300)


@pytest.mark.parametrize(
    ("kind", "y", "options", "words"),
    [
        ("pass", [0, 1, 2, 0, 0, 0], {}, "number of trials"),
        ("pass", [0, 1], {}, "rows"),
        ("pass", [0, 1, np.nan, 0, 0, 0], {}, "leave out melts"),
        ("grade", [0, 1, 4, 0, 0, 0], {"n_grades": 4}, "from 0 to 3"),
        ("grade", [0, 1, 2, 0, 0, 0], {"beliefs": [Belief(X[0], 0.5, 1.0)]}, "say what is good"),
        ("grade", [0, 1, 2, 0, 0, 0], {"beliefs": [Belief(X[0], 0.5, 1.0, good=(0, 1, 2))]}, "some not"),
        ("measured", [0, 1, 2, 0, 0, 0], {"groups": [1, 2]}, "one entry a row"),
        ("measured", [0, 1, 2, 0, 0, 0], {"beliefs": [Belief(X[0], 0.5, 1.0, good=(3, 2))]}, "upwards"),
        ("measured", [0, 1, 2, 0, 0, 0], {"scale": 0.0, "centre": 0.0}, "above 0"),
        ("weight", [0, 1, 2, 0, 0, 0], {}, "kind must be"),
        ("pass", [0, 1, 1, 0, 0, 0], {"beliefs": [Belief([1.0], 0.5, 1.0)]}, "must have 3 entries"),
    ],
)
def test_what_does_not_fit_is_refused(kind, y, options, words):
    with pytest.raises(ValueError, match=words):
        make_likelihood(X, y, kind, **options)


def test_the_first_column_must_be_ones_where_it_carries_a_threshold():
    with pytest.raises(ValueError, match="ones"):
        make_likelihood(X[:, 1:], [0, 1, 2, 0, 0, 0], "grade")


@pytest.mark.parametrize(("chance", "worth"), [(0.0, 1.0), (1.0, 1.0), (0.5, 0.0)])
def test_impossible_beliefs_are_refused(chance, worth):
    with pytest.raises(ValueError):
        Belief(X[0], chance, worth)


def test_an_interval_far_out_in_either_tail_has_the_same_finite_chance():
    """Beyond 38 the upper tail is 1 to every digit, and only the mirror image still tells: scipy's logsf at 39."""
    above, _ = log_interval_chance(np.array([39.0]), np.array([np.inf]))
    below, _ = log_interval_chance(np.array([-np.inf]), np.array([-39.0]))
    assert above == pytest.approx(norm.logsf(39.0), rel=1e-12)
    assert below == pytest.approx(above, rel=1e-12)
    between, _ = log_interval_chance(np.array([39.0]), np.array([40.0]))
    expected = norm.logsf(39.0) + np.log1p(-np.exp(norm.logsf(40.0) - norm.logsf(39.0)))
    assert between == pytest.approx(expected, rel=1e-12)

"""Properties of fits that hold for any data: order, names and signs do not matter; more of the same narrows."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltdoe.fit.classical.firth_logistic import firth
from meltdoe.fit.classical.separation import separation
from meltdoe.fit.draws.posterior_draws import laplace, posterior

KINDS = ("pass", "grade", "measured")


@st.composite
def melts(draw, kinds=KINDS):
    """Kind, model matrix of 5 to 14 rows and 2 to 4 columns, outcomes, options."""
    kind = draw(st.sampled_from(kinds))
    n, p = draw(st.integers(5, 14)), draw(st.integers(2, 4))
    level = st.sampled_from([-1.0, -0.4, 0.0, 0.7, 1.0])
    X = np.array([[1.0, *draw(st.lists(level, min_size=p - 1, max_size=p - 1))] for _ in range(n)])
    top = {"pass": 1, "grade": 3, "measured": 40}[kind]
    y = np.array(draw(st.lists(st.integers(0, top), min_size=n, max_size=n)), dtype=float)
    options = {"grade": {"n_grades": 4}, "measured": {"centre": 20.0, "scale": 10.0}}.get(kind, {})
    return kind, X, y, options


@settings(max_examples=30, deadline=None)
@given(melts(), st.randoms(use_true_random=False))
def test_order_of_melts_does_not_matter(data, random):
    kind, X, y, options = data
    order = list(range(len(y)))
    random.shuffle(order)
    one, two = laplace(X, y, kind, **options), laplace(X[order], y[order], kind, **options)
    assert two.mode == pytest.approx(one.mode, abs=1e-4)
    assert two.log_evidence == pytest.approx(one.log_evidence, abs=1e-5)


@settings(max_examples=30, deadline=None)
@given(melts())
def test_turning_a_factor_turns_its_coefficient(data):
    kind, X, y, options = data
    turn = np.ones(X.shape[1])
    turn[1] = -1
    one, two = laplace(X, y, kind, **options), laplace(X * turn, y, kind, **options)
    p = len(turn)
    assert two.mode[:p] * turn == pytest.approx(one.mode[:p], abs=1e-4)
    assert two.mode[p:] == pytest.approx(one.mode[p:], abs=1e-4)


@settings(max_examples=30, deadline=None)
@given(melts())
def test_mode_is_higher_than_its_neighbours_and_curvature_is_positive(data):
    kind, X, y, options = data
    found = laplace(X, y, kind, **options)
    assert np.linalg.eigvalsh(found.covariance).min() > 0
    assert np.isfinite(found.log_evidence)


@settings(max_examples=8, deadline=None)
@given(melts())
def test_draws_give_chances_that_are_chances(data):
    kind, X, y, options = data
    fit = posterior(X, y, kind, draws=400, **options)
    good = {"pass": None, "grade": (0, 1), "measured": (10.0, 30.0)}[kind]
    chance = fit.chance(X, good)
    assert np.isfinite(fit.draws).all()
    assert ((chance >= 0) & (chance <= 1)).all()
    low, high = fit.interval(chance)
    assert (low <= high).all()


@settings(max_examples=15, deadline=None)
@given(melts(kinds=("pass",)))
def test_turning_passes_into_failures_turns_every_penalised_coefficient(data):
    _, X, y, _ = data
    X = X[:, :2]
    if np.linalg.matrix_rank(X) < 2:
        return
    one, two = firth(X, y), firth(X, 1 - y)
    assert two.coef == pytest.approx(-one.coef, abs=1e-6)
    assert two.low == pytest.approx(-one.high, abs=1e-5)
    assert two.p_values == pytest.approx(one.p_values, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(melts(kinds=("pass",)))
def test_separation_is_the_same_seen_from_failures(data):
    _, X, y, _ = data
    one, two = separation(X, y), separation(X, 1 - y)
    assert one.kind == two.kind
    assert one.alone == two.alone
    assert np.array_equal(one.boundary, two.boundary)


@settings(max_examples=20, deadline=None)
@given(melts(kinds=("pass",)))
def test_another_failure_at_a_setting_lowers_the_linear_predictor_there(data):
    _, X, y, _ = data
    before = laplace(X, y).mode @ X[0]
    after = laplace(np.vstack([X, X[:1]]), np.append(y, 0.0)).mode @ X[0]
    assert after < before

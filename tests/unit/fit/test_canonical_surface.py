"""Canonical form: the stationary point is one, limits cover, and flat surfaces are owned up to."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.canonical_surface import canonical_surface
from meltdoe.fit.classical.least_squares import least_squares

POWERS = np.array([[0, 0], [1, 0], [0, 1], [2, 0], [0, 2], [1, 1]])
# Rising to a peak of 10 at (0.5, -0.25): 10 - 4 (x - 0.5)^2 - 2 (z + 0.25)^2.
PEAK = np.array([10 - 1 - 0.125, 4.0, -1.0, -4.0, -2.0, 0.0])
COMPOSITE = np.array([[-1, -1], [1, -1], [-1, 1], [1, 1], [-1, 0], [1, 0], [0, -1], [0, 1], [0, 0], [0, 0], [0, 0]])


def columns(x: np.ndarray, powers: np.ndarray = POWERS) -> np.ndarray:
    return np.prod(np.asarray(x, dtype=float)[:, None, :] ** powers, axis=2)


def test_known_peak() -> None:
    form = canonical_surface(PEAK, 1e-4 * np.eye(6), POWERS, settings=COMPOSITE)
    assert form.stationary == pytest.approx([0.5, -0.25])
    assert form.value == pytest.approx(10)
    assert form.eigenvalues == pytest.approx([-2, -4])
    assert np.abs(form.axes) == pytest.approx(np.array([[0, 1], [1, 0]]))
    assert form.nature == "maximum"
    assert form.inside is True
    assert not form.ridge.any()
    assert form.chances["maximum"] == 1.0
    assert "highest point" in form.in_words
    assert "outside" not in form.in_words
    # b + 2 B s = 0 by hand: s1 = -b1 / (2 b11), so its variance is (v1 + 4 s1^2 v11 + s2^2 v12) / (2 b11)^2.
    assert form.stationary_se[0] == pytest.approx(np.sqrt(1e-4 * (1 + 1 + 0.0625)) / 8)
    assert form.eigenvalue_se == pytest.approx([0.01, 0.01])


def test_three_factors_gradient_vanishes_and_axes_diagonalise() -> None:
    rng = np.random.default_rng(0)
    eye = np.eye(3, dtype=int)
    powers = np.vstack([np.zeros((1, 3), dtype=int), eye, 2 * eye, 1 - eye])
    coef = rng.normal(size=10)
    form = canonical_surface(coef, 0.01 * np.eye(10), powers)
    steps = 1e-4 * np.eye(3)
    up, down = (columns(form.stationary + sign * steps, powers) @ coef for sign in (1, -1))
    assert (up - down) / 2e-4 == pytest.approx(np.zeros(3), abs=1e-8)
    assert columns(form.stationary[None], powers) @ coef == pytest.approx([form.value])
    away = columns((form.stationary + form.axes.T), powers) @ coef
    assert away - form.value == pytest.approx(form.eigenvalues)


def test_region_covers_the_true_point_as_often_as_it_says() -> None:
    """The gradient test is exact: 0.90 within three standard errors over 200 series."""
    rng = np.random.default_rng(2)
    X = columns(COMPOSITE)
    hits = []
    for _ in range(200):
        fit = least_squares(X, X @ PEAK + rng.normal(size=11))
        form = canonical_surface(fit.coef, fit.covariance, POWERS, fit.df, draws=10)
        hits.append(form.could_be_stationary([[0.5, -0.25], [3.0, 3.0]]))
    true, wrong = np.mean(hits, axis=0)
    assert 0.835 < true < 0.965
    assert wrong < 0.5


def test_limits_by_draws_agree_with_the_delta_method_where_the_surface_is_clear() -> None:
    form = canonical_surface(PEAK, 1e-3 * np.eye(6), POWERS, level=0.90)
    assert (form.high - form.low) / 2 == pytest.approx(1.645 * form.stationary_se, rel=0.08)


def test_a_flat_axis_has_no_limits() -> None:
    coef = PEAK.copy()
    coef[4] = -0.01
    form = canonical_surface(coef, 0.01 * np.eye(6), POWERS, df=5, settings=COMPOSITE)
    assert form.ridge.tolist() == [True, False]
    assert form.high[1] == np.inf
    assert form.low[1] == -np.inf
    assert form.inside is False
    assert form.chances["saddle"] > 0.3
    assert "ridge" in form.in_words


def test_saddle_and_minimum() -> None:
    up_down = canonical_surface([0, 0, 0, 1, -1, 0], 1e-4 * np.eye(6), POWERS)
    assert (up_down.nature, up_down.chances["saddle"]) == ("saddle", 1.0)
    assert canonical_surface([0, 0, 0, 1, 1, 0], 1e-4 * np.eye(6), POWERS).nature == "minimum"


def test_same_seed_same_limits() -> None:
    first, second = (canonical_surface(PEAK, 0.01 * np.eye(6), POWERS, df=5, seed=7) for _ in range(2))
    assert first.low.tolist() == second.low.tolist()
    assert first.low.tolist() != canonical_surface(PEAK, 0.01 * np.eye(6), POWERS, df=5, seed=8).low.tolist()


def test_what_it_refuses() -> None:
    with pytest.raises(Inestimable, match="does not bend"):
        canonical_surface([1, 2, 3], np.eye(3), POWERS[:3])
    with pytest.raises(Inestimable, match="does not bend"):
        canonical_surface([1, 2, 3, -1], np.eye(4), POWERS[:4])
    with pytest.raises(Inestimable, match="no melts are left over"):
        canonical_surface(PEAK, np.full((6, 6), np.nan), POWERS)
    with pytest.raises(ValueError, match="powers"):
        canonical_surface([1.0], np.eye(1), [[3, 0]])
    with pytest.raises(ValueError, match="one row a term"):
        canonical_surface(PEAK, np.eye(5), POWERS)

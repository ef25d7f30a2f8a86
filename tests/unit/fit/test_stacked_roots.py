"""Factors of stacks of matrices, and products with a matrix for each draw, against numpy one at a time."""

import numpy as np

from meltdoe.fit.draws.pattern_draws import each_times
from meltdoe.fit.draws.stacked_roots import inverse, log_determinants, positive_roots, solve_with, spread_of

RNG = np.random.default_rng(2)
A = RNG.standard_normal((6, 5, 9))
H = A @ np.swapaxes(A, 1, 2)


def test_factors_solve_and_invert_as_numpy_does():
    L, known = positive_roots(H)
    assert known is H
    np.testing.assert_allclose(L, np.linalg.cholesky(H), atol=1e-12)
    b = RNG.standard_normal((6, 5))
    np.testing.assert_allclose(solve_with(L, b), np.linalg.solve(H, b[..., None])[..., 0], rtol=1e-9)
    np.testing.assert_allclose(inverse(L), np.linalg.inv(L), atol=1e-12)
    np.testing.assert_allclose(log_determinants(L), np.linalg.slogdet(H)[1], rtol=1e-12)


def test_variances_of_weighted_sums_are_those_of_the_inverse():
    L, _ = positive_roots(H)
    weights = RNG.standard_normal((4, 5))
    wanted = np.einsum("ni,mij,nj->mn", weights, np.linalg.inv(H), weights)
    np.testing.assert_allclose(spread_of(L, weights), wanted, rtol=1e-9)
    np.testing.assert_allclose(spread_of(L, np.repeat(weights[None], 6, axis=0)), wanted, rtol=1e-9)
    assert spread_of(L, np.empty((0, 5))).shape == (6, 0)


def test_only_what_is_not_positive_definite_is_turned():
    mixed = H.copy()
    mixed[2] -= 1.5 * np.linalg.eigvalsh(H[2])[1] * np.eye(5)
    given = mixed.copy()
    L, known = positive_roots(mixed)
    np.testing.assert_array_equal(mixed, given)
    others = [i for i in range(6) if i != 2]
    np.testing.assert_array_equal(known[others], mixed[others])
    np.testing.assert_allclose(np.linalg.eigvalsh(known[2]), np.sort(np.abs(np.linalg.eigvalsh(mixed[2]))), rtol=1e-9)
    np.testing.assert_allclose(L @ np.swapaxes(L, 1, 2), known, atol=1e-9)


def test_nothing_is_made_of_nothing():
    assert inverse(np.empty((3, 0, 0))).shape == (3, 0, 0)
    assert solve_with(np.empty((0, 4, 4)), np.empty((0, 4))).shape == (0, 4)


def test_a_matrix_for_each_draw_multiplies_the_same_whether_many_share_it_or_few():
    few = np.sort(RNG.integers(0, 6, 8))
    many = np.sort(RNG.integers(0, 6, 300))
    for owner in (few, many):
        v = RNG.standard_normal((owner.size, 5))
        np.testing.assert_allclose(each_times(H, owner, v), np.einsum("sij,sj->si", H[owner], v), rtol=1e-9, atol=1e-9)
    assert each_times(H, np.empty(0, dtype=int), np.empty((0, 5))).shape == (0, 5)

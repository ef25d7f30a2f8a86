"""Exact and approximate optimal designs against closed forms, printed criteria and the best values known."""

from __future__ import annotations

from itertools import product

import numpy as np
import numpy.typing as npt
import pytest

from meltdoe.plans.families.response_surface import box_behnken, central_composite
from meltdoe.plans.fractions.fractional import fraction, fraction_from_generators
from meltdoe.plans.merits.prediction_variance import Efficiencies, efficiencies, prediction_variance
from meltdoe.plans.optimal.approximate_design import approximate_optimum
from meltdoe.plans.optimal.coordinate_exchange import exchange
from meltdoe.plans.optimal.logistic_design import binary_weight, logistic_exchange, utility
from meltdoe.plans.optimal.model_matrix import (
    Categorical,
    Continuous,
    DesignFactor,
    Model,
    Term,
    full_quadratic,
    main_effects,
    region_moments,
    two_factor_interactions,
)

FloatArray = npt.NDArray[np.float64]

FREE = Continuous()
TWO_LEVEL = Continuous(levels=(-1.0, 1.0))


def quadratic(k: int) -> list[Term]:
    return full_quadratic([FREE] * k)


def with_interactions(k: int) -> list[Term]:
    return main_effects(k) + two_factor_interactions(k)


def grid(k: int, levels: npt.ArrayLike = (-1.0, 0.0, 1.0)) -> FloatArray:
    return np.array(list(product(np.asarray(levels).tolist(), repeat=k)))


# --- one factor: Kiefer and Wolfowitz (1960), Canad. J. Math. 12; Guest (1958), Ann. Math. Statist. 29 (remembered)


def test_approximate_designs_in_one_factor() -> None:
    x = np.sort(np.append(np.linspace(-1, 1, 9), [-(5**-0.5), 5**-0.5]))[:, None]
    for power, points, det in ((1, [-1, 1], 1.0), (2, [-1, 0, 1], 4 / 27), (3, [-1, -(5**-0.5), 5**-0.5, 1], 0.00512)):
        rows = x ** np.arange(power + 1)
        best = approximate_optimum(rows, tolerance=1e-7)
        used = best.weights > 1e-3
        assert x[used, 0] == pytest.approx(points, abs=1e-9)
        assert best.weights[used] == pytest.approx(1 / (power + 1), abs=1e-3)
        assert best.value ** (power + 1) == pytest.approx(det, abs=1e-6)
        assert best.sensitivity == pytest.approx(power + 1, abs=1e-4)  # equivalence theorem


def test_a_and_i_optimal_quadratic_in_one_factor() -> None:
    """A: weights 1/4, 1/2, 1/4 and trace 8 (remembered); I: average variance 32/15, 2.4 for D-optimal weights."""
    rows = grid(1) ** np.arange(3)
    moments = region_moments(Model([FREE], [(0,), (1,), (2,)]))
    a = approximate_optimum(rows, np.eye(3))
    assert a.weights == pytest.approx([0.25, 0.5, 0.25], abs=1e-3)
    assert a.value == pytest.approx(8.0, abs=1e-4)
    assert approximate_optimum(rows, moments).value == pytest.approx(32 / 15, abs=1e-5)
    d = approximate_optimum(rows)
    assert np.trace(moments @ np.linalg.inv(d.information)) == pytest.approx(2.4, abs=1e-6)
    for table, efficiency in ((np.linspace(-1, 1, 5), 0.8390167066), (np.array([-1.0, 0, 0, 1]), 0.9449407874)):
        X = table[:, None] ** np.arange(3)
        value = np.linalg.det(X.T @ X) ** (1 / 3) / len(X)
        assert value / d.value == pytest.approx(efficiency, abs=1e-6)


@pytest.mark.parametrize(("runs", "det"), [(3, 4), (4, 8), (5, 16), (6, 32), (7, 48), (8, 72)])
def test_exact_quadratics_in_one_factor(runs: int, det: float) -> None:
    """Whole numbers of runs at -1, 0, 1 as even as possible; recomputed."""
    found = exchange([FREE], [(0,), (1,), (2,)], runs)
    assert np.exp(found.log_det) == pytest.approx(det)
    assert set(found.table.ravel().round(6)) == {-1.0, 0.0, 1.0}


# --- twelve runs, one quadratic term: NIST/SEMATECH e-Handbook, section 5.5.2.1, tables 5.1 and 5.2 (a copy was seen)


def test_twelve_run_design_of_the_handbook() -> None:
    factors: list[DesignFactor] = [Continuous(levels=(-1.0, -0.5, 0.0, 0.5, 1.0)), TWO_LEVEL, TWO_LEVEL]
    terms: list[Term] = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1), (2, 0, 0)]
    found = exchange(factors, terms, 12)
    model = Model(factors, terms)
    candidates = np.array(list(product((-1, -0.5, 0, 0.5, 1), (-1, 1), (-1, 1))), dtype=float)
    X = model.rows(found.table)
    v = prediction_variance(X, model.rows(candidates))
    measured = efficiencies(X, model.rows(candidates))
    assert found.criterion / 100 == pytest.approx(0.6825575037, abs=7e-7)
    assert measured.d / 100 == pytest.approx(0.6825575037, abs=7e-7)
    assert 100 / measured.a == pytest.approx(2.2)  # the handbook's A is the reciprocal
    assert measured.g / 100 == pytest.approx(1.0)
    assert 12 * measured.average_variance == pytest.approx(4.6625)
    assert np.sqrt(prediction_variance(X, X)) == pytest.approx(0.6454972244)
    assert np.exp(found.log_det) == pytest.approx(36864)
    assert v.max() == pytest.approx(5 / 12)
    assert v.mean() == pytest.approx(0.3885416667)
    full = {tuple(row) for row in product((-1.0, 0.0, 1.0), (-1.0, 1.0), (-1.0, 1.0))}
    assert {tuple(row) for row in found.table.tolist()} == full


# --- two-factor quadratic: Box and Draper (1971), Technometrics 13, 731-742, remembered; determinants recomputed


def test_six_runs_for_a_two_factor_quadratic_in_closed_form() -> None:
    d = (4 - 13**0.5) / 3
    closed = np.array([[-1, -1], [1, -1], [-1, 1], [-d, -d], [1, 3 * d], [3 * d, 1]])
    X = Model([FREE] * 2, quadratic(2)).rows(closed)
    assert d == pytest.approx(0.1314829082, abs=1e-9)
    assert np.linalg.det(X.T @ X) == pytest.approx(267.7372192, abs=1e-5)


@pytest.mark.parametrize(
    ("runs", "det", "efficiency"),
    [
        (6, 267.7372192, 0.8915482356),
        (7, 980.770216, 0.9487995615),
        (8, 2361.729394, 0.9611540627),
        (9, 5184, 0.9739715995),
    ],
)
def test_two_factor_quadratics(runs: int, det: float, efficiency: float) -> None:
    found = exchange([FREE] * 2, quadratic(2), runs)
    assert np.exp(found.log_det) == pytest.approx(det, rel=1e-6)
    optimum = approximate_optimum(Model([FREE] * 2, quadratic(2)).rows(grid(2)), tolerance=1e-7)
    assert found.criterion / 100 / optimum.value == pytest.approx(efficiency, abs=1e-5)
    if runs == 9:
        assert {tuple(row) for row in found.table.round(6).tolist()} == {tuple(row) for row in grid(2).tolist()}


def test_continuous_optimum_of_the_two_factor_quadratic() -> None:
    """Kiefer (1961), Proc. 4th Berkeley Symp.: 0.1458 at corners, 0.0802 at edges, 0.0962 at the centre, remembered."""
    points = grid(2)
    best = approximate_optimum(Model([FREE] * 2, quadratic(2)).rows(points), tolerance=1e-7)
    assert best.value**6 == pytest.approx(0.01142699867, abs=1e-6)
    edges = np.abs(points).sum(axis=1)
    for size, weight in ((2, 0.1457908916), (1, 0.08016085258), (0, 0.09619302309)):
        assert best.weights[edges == size] == pytest.approx(weight, abs=1e-4)
    assert best.sensitivity == pytest.approx(6.0, abs=1e-3)


@pytest.mark.parametrize(("k", "value"), [(2, 0.474594), (3, 0.474478), (4, 0.488570), (5, 0.506859)])
def test_continuous_optimum_on_the_cube(k: int, value: float) -> None:
    """|M*|^(1/p) of the full quadratic, recomputed to six digits by a separate program."""
    found = approximate_optimum(Model([FREE] * k, quadratic(k)).rows(grid(k)))
    assert found.value == pytest.approx(value, abs=1e-6)


# --- best known exact designs: recomputed by long searches with a separate program; D in per cent


@pytest.mark.parametrize(
    ("k", "runs", "best"), [(3, 10, 42.3472), (3, 14, 46.3262), (3, 16, 45.9132), (4, 15, 43.2406), (4, 20, 46.6813)]
)
def test_quadratics_on_the_cube(k: int, runs: int, best: float) -> None:
    assert exchange([FREE] * k, quadratic(k), runs).criterion >= 0.998 * best


@pytest.mark.parametrize(
    ("k", "runs", "best"),
    [(4, 11, 83.3835), (4, 12, 85.7777), (5, 16, 100.0), (5, 20, 95.13657), (6, 22, 92.5885), (6, 24, 91.7089)],
)
def test_two_level_main_effects_and_interactions(k: int, runs: int, best: float) -> None:
    found = exchange([TWO_LEVEL] * k, with_interactions(k), runs)
    assert found.criterion == pytest.approx(best, rel=2e-6)


def main_effect_bound(n: int, k: int) -> float:
    """Largest |X'X| of two-level main effects (Hadamard; Ehlich 1964; Galil and Kiefer 1980, from memory)."""
    p = k + 1
    if n % 4 == 0:
        return float(n) ** p
    if n % 4 == 1:
        return float(n - 1) ** (p - 1) * (n - 1 + p)
    if n % 4 == 2:
        return float(n - 2) ** (p - 2) * ((n - 2 + p) ** 2 if p % 2 == 0 else (n - 3 + p) * (n - 1 + p))
    return float(n + 1) ** (p - 1) * (n + 1 - p)


@pytest.mark.parametrize(("runs", "k"), [(7, 5), (8, 7), (9, 7), (10, 6), (10, 8), (11, 7), (12, 11), (13, 8)])
def test_two_level_main_effects_reach_the_bound(runs: int, k: int) -> None:
    found = exchange([TWO_LEVEL] * k, main_effects(k), runs)
    assert found.log_det == pytest.approx(np.log(main_effect_bound(runs, k)), abs=1e-9)


def test_a_choice_and_a_limit_together() -> None:
    """x1 + x2 <= 1, three-level choice in orthonormal coding, 18 terms in 18 runs: best known D 48.7428."""
    factors: list[DesignFactor] = [FREE, FREE, FREE, Categorical(3)]

    def within(raw: FloatArray) -> npt.NDArray[np.bool_]:
        return np.asarray(raw[:, 0] + raw[:, 1] <= 1 + 1e-12)

    found = exchange(factors, full_quadratic(factors), 18, limits=[within])
    assert found.criterion >= 0.995 * 48.7428
    assert within(found.table).all()


def test_split_plot_of_eight_firings() -> None:
    """One factor per firing, three per melt, 8 firings of 3, eta = 1: best known D 32.8104 (log |M| 30.95442)."""
    factors = [Continuous(per_firing=True), FREE, FREE, FREE]
    found = exchange(factors, full_quadratic(factors), 24, firings=[3] * 8)
    assert found.criterion >= 0.995 * 32.8104
    assert found.log_det <= 30.95442 + 1e-4
    assert np.ptp(found.table[:, 0].reshape(8, 3), axis=1) == pytest.approx(np.zeros(8))


def test_six_runs_more_for_the_interactions() -> None:
    """14 runs cannot estimate 16 terms; the Bayesian D-optimal addition (tau = 1) has log |M + K| 36.05893, rank 14."""
    base = fraction_from_generators("ABCDE", ["D=AB", "E=AC"]).table
    precision = np.repeat([0.0, 1.0], [6, 10])
    found = exchange([TWO_LEVEL] * 5, with_interactions(5), 6, existing=base, prior_precision=precision)
    assert found.log_det >= 36.05893 + 16 * np.log(0.995)
    X = Model([TWO_LEVEL] * 5, with_interactions(5)).rows(np.vstack([base, found.table]))
    assert np.linalg.matrix_rank(X) == 14


def test_eight_runs_more_estimate_everything() -> None:
    """Best known: det 2^56, D 70.7107; a full foldover of the same base reaches rank 13 only."""
    base = fraction_from_generators("ABCDE", ["D=AB", "E=AC"]).table
    model = Model([TWO_LEVEL] * 5, with_interactions(5))
    found = exchange([TWO_LEVEL] * 5, with_interactions(5), 8, existing=base)
    assert found.log_det == pytest.approx(56 * np.log(2), abs=1e-9)
    assert found.criterion == pytest.approx(70.7107, abs=1e-3)
    assert np.linalg.matrix_rank(model.rows(np.vstack([base, -base]))) == 13


# --- efficiencies of ten familiar designs, recomputed; definitions as in NIST e-Handbook 5.5.2.1


def quality(table: FloatArray, terms: list[Term]) -> Efficiencies:
    model = Model([FREE] * table.shape[1], terms)
    fine = grid(table.shape[1], np.linspace(-1, 1, 41 if table.shape[1] < 3 else 11))
    return efficiencies(model.rows(table), model.rows(fine), moments=region_moments(model))


SQUARE = fraction(2, 4).table
FAMILIAR = {
    "2^2 main": (SQUARE, main_effects(2), 100, 100, 100, 0.4166666667),
    "2^2 + 3 centre, main": (np.vstack([SQUARE, np.zeros((3, 2))]), main_effects(2), 68.86120755, 200 / 3, 200 / 3,
                             0.3095238095),
    "2^2 interaction": (SQUARE, with_interactions(2), 100, 100, 100, 0.4444444444),
    "2^3 interactions": (fraction(3, 8).table, with_interactions(3), 100, 100, 100, 0.2916666667),
    "2^(4-1) main": (fraction(4, 8).table, main_effects(4), 100, 100, 100, 0.2916666667),
    "3x3": (grid(2), quadratic(2), 46.22408496, 31.16883117, 82.75862069, 0.45),
    "face-centred, 5 centre": (central_composite(2, axial="face", centre_runs=5), quadratic(2), 38.89198067,
                               31.18745332, 58.40559441, 0.2875478927),
    "face-centred, 1 centre": (central_composite(3, axial="face", centre_runs=1), quadratic(3), 44.71631297,
                               31.29074316, 83.62369338, 0.3675925926),
    "Box-Behnken, 3 centre": (box_behnken(3), quadratic(3), 36.64290161, 29.35779817, 47.76119403, 0.3847222222),
    "one at a time": (np.array([[-1.0, -1], [1, -1], [-1, 1]]), main_effects(2), 83.99473666, 66.66666667, 33.33333333,
                      0.8333333333),
}  # fmt: skip


@pytest.mark.parametrize("name", FAMILIAR)
def test_efficiencies_of_familiar_designs(name: str) -> None:
    table, terms, d, a, g, average = FAMILIAR[name]
    measured = quality(table, terms)
    assert measured.d == pytest.approx(d, abs=1e-5)
    assert measured.a == pytest.approx(a, abs=1e-5)
    assert measured.g == pytest.approx(g, abs=0.05)
    assert measured.average_variance == pytest.approx(average, abs=1e-6)


# --- pass/fail outcomes


@pytest.mark.parametrize(
    ("link", "points"),
    [
        ("logit", (-1.543404638, 1.543404638)),  # Minkin (1987), JASA 82; printed +-1.5434046 in an open package
        ("probit", (-1.138101293, 1.138101293)),  # remembered +-1.138
        ("cloglog", (-1.337736919, 0.9796325891)),  # remembered -1.338, 0.980
    ],
)
def test_locally_optimal_points_of_a_pass_fail_curve(link: str, points: tuple[float, float]) -> None:
    found = logistic_exchange([FREE], main_effects(1), 2, [[0.0, 3.0]], link=link)  # type: ignore[arg-type]
    assert np.sort(3.0 * found.table.ravel()) == pytest.approx(points, abs=1e-3)


def test_what_a_wrong_guess_costs() -> None:
    """Logistic curve, slope 1, centre 0: D-efficiency of other designs, recomputed; optimum det 0.05011849434."""

    def value(eta: list[float]) -> float:
        X = np.column_stack([np.ones(len(eta)), eta])
        return float(np.linalg.det((X * binary_weight(eta)[:, None]).T @ X / len(eta)))

    e = 1.543404638
    best = value([-e, e])
    assert best == pytest.approx(0.05011849434, abs=1e-7)
    for eta, efficiency in (
        ([-e / 2, e / 2], 0.745205423),
        ([-2 * e, 2 * e], 0.5756467462),
        ([1 - e, 1 + e], 0.8638948918),
        ([-e, 0.0, e], 0.9096443454),
        ([-np.log(3), np.log(3)], 0.9201247589),
        ([-np.log(9), np.log(9)], 0.8833197685),
    ):
        assert np.sqrt(value(eta) / best) == pytest.approx(efficiency, abs=1e-5)


def test_four_uncertain_slopes() -> None:
    """Independent uniform priors as in the logistic example of Overstall and Woods (2017), Technometrics 59, ranges
    remembered; best known U for 8 runs is -7.506 (recomputed), a half fraction of the two-level factorial has -30.4.
    """
    low, high = np.array([-3, 4, 5, -6, -2.5]), np.array([3, 10, 11, 0, 3.5])
    rng = np.random.default_rng(7)
    draws, fresh = (low + (high - low) * rng.random((m, 5)) for m in (96, 4096))
    found = logistic_exchange([FREE] * 4, main_effects(4), 8, draws, effort=0.25, seed=1)
    model = Model([FREE] * 4, main_effects(4))
    assert -8.2 < utility(model.rows(found.table), fresh) < -7.4
    assert utility(model.rows(fraction(4, 8).table), fresh) == pytest.approx(-30.4, abs=0.6)

"""Exact designs: against full enumeration, within limits, on levels, by firing, and honest where impossible."""

from __future__ import annotations

from itertools import combinations_with_replacement, product

import numpy as np
import numpy.typing as npt
import pytest

from meltdoe.errors import Inestimable
from meltdoe.plans.optimal.coordinate_exchange import exchange
from meltdoe.plans.optimal.exchange_search import Batch, Setting, information
from meltdoe.plans.optimal.logistic_design import logistic_exchange, utility
from meltdoe.plans.optimal.model_matrix import (
    Categorical,
    Continuous,
    Model,
    full_quadratic,
    main_effects,
    region_moments,
    region_points,
    two_factor_interactions,
)

FloatArray = npt.NDArray[np.float64]
FREE = Continuous()
THREE = Continuous(levels=(-1.0, 0.0, 1.0))
QUADRATIC = full_quadratic([FREE, FREE])


def every_design(runs: int) -> FloatArray:
    points = np.array(list(product((-1.0, 0.0, 1.0), repeat=2)))
    return points[np.array(list(combinations_with_replacement(range(9), runs)))]


@pytest.mark.parametrize("criterion", ["D", "A", "I"])
def test_against_every_design_on_three_levels(criterion: str) -> None:
    model = Model([THREE, THREE], QUADRATIC)
    rows = model.rows(every_design(7))
    M = np.swapaxes(rows, 1, 2) @ rows
    good = M[np.linalg.matrix_rank(M) == 6]
    found = exchange([THREE, THREE], QUADRATIC, 7, criterion)  # type: ignore[arg-type]
    if criterion == "D":
        assert found.log_det == pytest.approx(np.linalg.slogdet(good)[1].max())
        assert found.criterion == pytest.approx(100 * np.exp(found.log_det / 6) / 7)
    else:
        W = np.eye(6) if criterion == "A" else region_moments(model)
        assert found.criterion == pytest.approx(np.trace(W @ np.linalg.inv(good), axis1=1, axis2=2).min())
    assert found.optimal_for == criterion
    assert set(found.table.ravel()) <= {-1.0, 0.0, 1.0}


def test_firings_against_every_design_on_two_levels() -> None:
    factors = [Continuous(levels=(-1.0, 1.0), per_firing=True), Continuous(levels=(-1.0, 1.0))]
    terms = main_effects(2)
    model, groups, c = Model(factors, terms), [np.arange(3), np.arange(3, 6)], np.full(2, 2.0 / 7.0)
    designs = np.array(
        [
            np.column_stack([np.repeat(shared, 3), own])
            for shared in product((-1.0, 1.0), repeat=2)
            for own in product((-1.0, 1.0), repeat=6)
        ]
    )
    M = information(model.rows(designs), groups, c)
    found = exchange(factors, terms, 6, firings=[3, 3], eta=2.0)
    assert found.log_det == pytest.approx(np.linalg.slogdet(M + 1e-12 * np.eye(3))[1].max(), abs=1e-9)


def test_information_is_that_of_generalised_least_squares() -> None:
    rng = np.random.default_rng(1)
    X, groups, eta = rng.normal(size=(7, 3)), [np.arange(4), np.arange(4, 7)], 0.8
    V = np.eye(7)
    for members in groups:
        V[np.ix_(members, members)] += eta
    c = np.array([eta / (1 + len(members) * eta) for members in groups])
    assert information(X, groups, c) == pytest.approx(X.T @ np.linalg.inv(V) @ X)


@pytest.mark.parametrize("weighted", [False, True])
@pytest.mark.parametrize("firings", [False, True])
def test_updates_stay_true_to_a_fresh_inverse(weighted: bool, firings: bool) -> None:
    factors = [Continuous(per_firing=firings), FREE, Categorical(3)]
    model = Model(factors, full_quadratic(factors))
    rng = np.random.default_rng(2)
    raw = rng.uniform(-1, 1, size=(5, 15, 3))
    raw[..., 2] = rng.integers(3, size=(5, 15))
    groups = tuple(np.arange(3 * w, 3 * w + 3) for w in range(5)) if firings else ()
    for members in groups:
        raw[:, members, 0] = raw[:, members[:1], 0]
    setting = Setting(model, (), groups, np.full(len(groups), 0.25), 1e-6 * np.eye(model.width),
                      np.eye(model.width) if weighted else None)  # fmt: skip
    batch = Batch(setting, raw)
    before = batch.values()

    def levels(j: int, now: FloatArray) -> FloatArray:
        return np.array([0.0, 1.0, 2.0]) if j == 2 else np.linspace(-1, 1, 3)

    moved = batch.take(np.arange(5))
    for i in range(15):
        moved._change_run(i, 1, levels)
        moved._change_run(i, 2, levels)
    updated = moved.D.copy()
    moved.rebuild()
    assert updated == pytest.approx(moved.D, rel=1e-5, abs=1e-6)
    assert (moved.values() >= before).all()
    batch.sweep(levels)
    assert (batch.values() >= before).all()


def test_the_same_seed_gives_the_same_bytes() -> None:
    one, two = (exchange([FREE, FREE], QUADRATIC, 7, seed=5) for _ in range(2))
    assert one.table.tobytes() == two.table.tobytes()
    assert (one.starts, one.hits) == (two.starts, two.hits)


def test_allowed_levels_are_kept_in_the_polish() -> None:
    levels = tuple(np.linspace(-1, 1, 26))
    found = exchange([Continuous(levels=levels)] * 2, QUADRATIC, 6)
    assert np.abs(found.table[..., None] - np.array(levels)).min(axis=-1).max() < 1e-12
    assert exchange([FREE, FREE], QUADRATIC, 6).criterion >= found.criterion > 41.99


def test_existing_runs_count_and_are_not_repeated() -> None:
    corners = np.array(list(product((-1.0, 1.0), repeat=2)))
    found = exchange([THREE, THREE], QUADRATIC, 5, existing=corners)
    assert {tuple(row) for row in found.table.tolist()} == {(0, 0), (-1, 0), (1, 0), (0, -1), (0, 1)}
    assert np.exp(found.log_det) == pytest.approx(5184)


def test_existing_runs_may_lie_outside_the_limits_of_new_ones() -> None:
    def inside(raw: FloatArray) -> npt.NDArray[np.bool_]:
        return np.asarray(raw.sum(axis=1) <= 0)

    found = exchange([FREE, FREE], QUADRATIC, 5, existing=[[1.0, 1.0]], limits=[inside])
    assert inside(found.table).all()


def test_existing_firings_weigh_less() -> None:
    old = np.array([[1.0, -1.0], [1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0]])
    apart = exchange([FREE, FREE], main_effects(2), 2, existing=old)
    together = exchange([FREE, FREE], main_effects(2), 2, existing=old, existing_firings=[2, 2])
    assert together.log_det < apart.log_det


def test_a_narrow_region_is_found() -> None:
    def narrow(raw: FloatArray) -> npt.NDArray[np.bool_]:
        return np.asarray(np.abs(raw[:, 0] + raw[:, 1] - 0.3) < 2e-3)

    found = exchange([FREE, FREE], main_effects(2), 6, limits=[narrow], effort=0.3)
    assert narrow(found.table).all()


def test_terms_may_be_a_function() -> None:
    def line(raw: FloatArray) -> FloatArray:
        return np.column_stack([np.ones(len(raw)), raw[:, 0], np.exp(raw[:, 0])])

    found = exchange([FREE], line, 3)
    assert found.table.min() == -1.0
    assert found.table.max() == 1.0
    assert found.log_det > -10


def test_too_few_runs_and_dependent_terms_are_named() -> None:
    with pytest.raises(Inestimable, match="5 runs cannot estimate 6 terms"):
        exchange([FREE, FREE], QUADRATIC, 5)
    with pytest.raises(Inestimable, match=r"constant and x1\^2") as caught:
        exchange([Continuous(levels=(-1.0, 1.0)), FREE], QUADRATIC, 8)
    assert "x1^2" in caught.value.terms
    with pytest.raises(Inestimable, match=r"constant and x1\^2"):
        exchange([Continuous(per_firing=True), FREE], QUADRATIC, 8, firings=[4, 4])


def test_a_prior_allows_fewer_runs_than_terms() -> None:
    precision = np.repeat([0.0, 1.0], [3, 3])
    found = exchange([FREE, FREE], QUADRATIC, 4, prior_precision=precision)
    assert np.isfinite(found.log_det)
    X = Model([FREE, FREE], QUADRATIC).rows(found.table)
    assert found.log_det == pytest.approx(np.linalg.slogdet(X.T @ X + np.diag(precision))[1])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"runs": 0}, "at least one new run"),
        ({"criterion": "Z"}, '"D", "A", "I", "bayesian-D"'),
        ({"firings": [3, 3]}, "does not sum to 7"),
        ({"firings": [7], "eta": -1.0}, "cannot be -1"),
        ({"existing": [[0.0]]}, "need 2 columns"),
        ({"prior_precision": [1.0]}, "one value per column"),
        ({"limits": [lambda raw: raw[:, 0] > 2]}, "no setting within the ranges"),
        ({"terms": [(0, 0), (1,)]}, "one exponent"),
        ({"terms": []}, "at least one term"),
        ({"factors": []}, "at least one factor"),
        ({"factors": [Categorical(1), FREE]}, "two levels"),
        ({"factors": [Continuous(levels=(0.0, 2.0)), FREE]}, "ascend within"),
        ({"factors": [Categorical(3), FREE]}, "power of the categorical"),
    ],
)
def test_arguments_that_do_not_fit_are_refused(change: dict[str, object], said: str) -> None:
    given: dict[str, object] = {"factors": [FREE, FREE], "terms": QUADRATIC, "runs": 7, **change}
    with pytest.raises(ValueError, match=said):
        exchange(**given)  # type: ignore[arg-type]


def test_model_rows_of_a_choice() -> None:
    model = Model([FREE, Categorical(3)], [*main_effects(2), *two_factor_interactions(2), (2, 0)])
    rows = model.rows(np.array([[0.5, 0.0], [0.5, 1.0], [0.5, 2.0]]))
    assert model.names == ("constant", "x1", "x2[1]", "x2[2]", "x1*x2[1]", "x1*x2[2]", "x1^2")
    assert rows[:, 2:4].T @ rows[:, 2:4] == pytest.approx(3 * np.eye(2))
    assert rows[:, 2:4].sum(axis=0) == pytest.approx(np.zeros(2))
    assert rows[:, 4:6] == pytest.approx(0.5 * rows[:, 2:4])
    assert rows[:, 6] == pytest.approx(0.25)


def test_region_moments_with_and_without_limits() -> None:
    model = Model([FREE, Categorical(3)], full_quadratic([FREE, Categorical(3)]))
    exact = region_moments(model)
    assert exact[1, 1] == pytest.approx(1 / 3)
    assert exact[2, 2] == pytest.approx(1)
    assert exact[6, 6] == pytest.approx(1 / 5)
    everywhere = region_moments(model, [lambda raw: np.ones(len(raw), dtype=bool)])
    assert everywhere == pytest.approx(exact, abs=0.01)
    points, weights = region_points(model, [lambda raw: raw[:, 0] > 0])
    assert points[:, 0].min() > 0
    assert weights.sum() == pytest.approx(1)
    with pytest.raises(ValueError, match="satisfies every limit"):
        region_points(model, [lambda raw: raw[:, 0] > 2])


def test_pass_fail_designs_respect_limits_levels_and_earlier_runs() -> None:
    factors = [Continuous(levels=(-1.0, -0.5, 0.0, 0.5, 1.0)), Categorical(3)]
    draws = np.random.default_rng(1).normal(size=(20, 4))
    found = logistic_exchange(
        factors, main_effects(2), 6, draws, prior_precision=np.eye(4), limits=[lambda raw: raw[:, 0] <= 0.5],
        existing=[[1.0, 2.0]], effort=0.3,
    )  # fmt: skip
    assert found.table[:, 0].max() <= 0.5
    assert set(found.table[:, 1]) <= {0.0, 1.0, 2.0}
    X = Model(factors, main_effects(2)).rows(np.vstack([found.table, [[1.0, 2.0]]]))
    assert utility(X, draws, np.eye(4)) == pytest.approx(found.utility, abs=1e-6)
    with pytest.raises(ValueError, match="4 coefficients"):
        logistic_exchange(factors, main_effects(2), 6, draws[:, :3])
    with pytest.raises(ValueError, match="at least one run"):
        logistic_exchange(factors, main_effects(2), 0, draws)
    with pytest.raises(ValueError, match="link"):
        logistic_exchange(factors, main_effects(2), 6, draws, link="odd")  # type: ignore[arg-type]

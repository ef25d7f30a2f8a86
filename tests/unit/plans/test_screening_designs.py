"""Plackett-Burman, definitive screening, full factorials, matrices behind them, composites, blends, arrays."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from meltdoe.plans.families.hadamard import conference, hadamard
from meltdoe.plans.families.mixtures import from_pseudocomponents, simplex_centroid, simplex_lattice
from meltdoe.plans.families.orthogonal_arrays import array_names, generalised_word_counts, orthogonal_array, strength
from meltdoe.plans.families.response_surface import box_behnken, central_composite, composite_blocks
from meltdoe.plans.families.screening import definitive_screening, full_factorial, plackett_burman
from meltdoe.shipped import shipped_folder

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pyDOE3


@pytest.mark.parametrize("runs", range(4, 49, 4))
def test_plackett_burman_of_every_size(runs: int) -> None:
    table = plackett_burman(runs)
    assert table.shape == (runs, runs - 1)
    assert set(np.unique(table)) == {-1.0, 1.0}
    assert np.array_equal(table.T @ table, runs * np.eye(runs - 1))
    assert not table.sum(axis=0).any()


@pytest.mark.parametrize("runs", [12, 20])
def test_plackett_burman_agrees_with_a_library_in_its_inner_products(runs: int) -> None:
    def profile(table: np.ndarray) -> list[float]:
        triples = np.einsum("ni,nj,nk->ijk", table, table, table)
        return np.sort(np.abs(triples).ravel()).tolist()

    assert profile(plackett_burman(runs)) == profile(pyDOE3.pbdesign(runs - 1))


@pytest.mark.parametrize("order", range(4, 49, 4))
def test_hadamard(order: int) -> None:
    assert (hadamard(order)[:, 0] == 1).all()


@pytest.mark.parametrize("order", [4, 6, 8, 10, 12, 14])
def test_conference(order: int) -> None:
    matrix = conference(order)
    assert not np.diag(matrix).any()
    assert set(np.unique(matrix)) == {-1.0, 0.0, 1.0}
    assert np.array_equal(matrix.T @ matrix, (order - 1) * np.eye(order))


@pytest.mark.parametrize("k", range(3, 15))
def test_definitive_screening_of_every_size(k: int) -> None:
    table = definitive_screening(k)
    m = k + k % 2
    assert table.shape == (2 * m + 1, k)
    assert np.array_equal(table.T @ table, 2 * (m - 1) * np.eye(k))
    pairs = np.stack([table[:, i] * table[:, j] for i in range(k) for j in range(i + 1)], axis=1)
    assert not (table.T @ pairs).any()


@pytest.mark.parametrize(("k", "d"), [(4, 72.30), (5, 80.36), (6, 79.86), (7, 84.38), (8, 84.15), (10, 86.92)])
def test_definitive_screening_main_effect_efficiency(k: int, d: float) -> None:
    """D% = 100 [n (2(m-1))^k]^(1/(k+1)) / n, from the construction."""
    table = definitive_screening(k)
    X = np.column_stack([np.ones(len(table)), table])
    assert 100 * np.linalg.det(X.T @ X) ** (1 / (k + 1)) / len(table) == pytest.approx(d, abs=0.005)


def test_full_factorial() -> None:
    table = full_factorial([2, 3])
    assert table.tolist() == [[-1, -1], [1, -1], [-1, 0], [1, 0], [-1, 1], [1, 1]]


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: plackett_burman(18), "multiple of 4"),
        (lambda: plackett_burman(52), "4 to 48"),
        (lambda: hadamard(6), "multiples of 4"),
        (lambda: conference(16), "not 16"),
        (lambda: definitive_screening(2), "3 to 14"),
        (lambda: full_factorial([2, 1]), "two levels"),
        (lambda: full_factorial([10] * 6), "100,000"),
        (lambda: box_behnken(8), "3 to 7"),
        (lambda: box_behnken(3, -1), "negative"),
        (lambda: central_composite(9), "2 to 8"),
        (lambda: central_composite(5, factorial_runs=8), "take twice as many"),
        (lambda: central_composite(3, axial=-1.0), "positive"),
        (lambda: simplex_lattice(1, 2), "no"),
        (lambda: simplex_centroid(11), "2 to 10"),
        (lambda: from_pseudocomponents([[1, 0]], [0.6, 0.5]), "less than 1"),
        (lambda: orthogonal_array("L7"), "there are L9"),
        (lambda: shipped_folder("secrets"), "designs and examples"),
    ],
)
def test_impossible_designs_are_refused_plainly(call: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()  # type: ignore[operator]


@pytest.mark.parametrize("k", [3, 4, 5])
def test_box_behnken_rows_are_those_of_the_library(k: int) -> None:
    def rows(table: np.ndarray) -> list[list[float]]:
        return sorted(table.tolist())

    assert rows(box_behnken(k)) == rows(pyDOE3.bbdesign(k))


@pytest.mark.parametrize("k", [2, 3, 4])
def test_composites_agree_with_the_library(k: int) -> None:
    def rows(table: np.ndarray) -> list[list[float]]:
        return sorted((table.round(9) + 0.0).tolist())

    for axial, face in (("rotatable", "circumscribed"), ("face", "faced")):
        own = central_composite(k, axial=axial, centre_runs=4)  # type: ignore[arg-type]
        assert rows(own) == rows(pyDOE3.ccdesign(k, center=(0, 4), alpha="rotatable", face=face))


def test_a_composite_can_stay_within_the_range() -> None:
    table = central_composite(3, within_range=True)
    assert np.abs(table).max() == 1.0
    assert np.abs(table[:8]).max() == pytest.approx(1 / 8**0.25)


@pytest.mark.parametrize(("k", "centres"), [(3, 4), (4, 3), (5, 2)])
def test_composite_blocks_are_orthogonal_to_the_quadratic(k: int, centres: int) -> None:
    design = composite_blocks(k, factorial_centres=centres, axial_centres=2)
    t = design.table
    columns = np.column_stack([t, t**2, *(t[:, [i]] * t[:, [j]] for i in range(k) for j in range(i))])
    first, second = (columns[design.block == b].mean(axis=0) for b in (1, 2))
    assert first == pytest.approx(second, abs=1e-12)


def test_blends() -> None:
    lattice = simplex_lattice(3, 2)
    assert sorted(lattice.tolist()) == sorted(
        [[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.5, 0.5, 0], [0.5, 0, 0.5], [0, 0.5, 0.5]]
    )
    assert len(simplex_lattice(4, 3)) == 20
    centroid = simplex_centroid(3)
    assert len(centroid) == 7
    assert centroid.sum(axis=1) == pytest.approx(1)
    moved = from_pseudocomponents(centroid, [0.2, 0.1, 0.3])
    assert moved.sum(axis=1) == pytest.approx(1)
    assert moved.min(axis=0) == pytest.approx([0.2, 0.1, 0.3])


def test_arrays() -> None:
    assert array_names() == ("L9", "L12", "L16b", "L18", "L27", "L36")
    assert orthogonal_array("L36").shape == (36, 23)
    assert strength(np.array([[1, 1], [1, 2], [2, 1], [2, 2]])) == 2
    assert strength(np.array([[1, 1], [1, 2], [2, 1], [2, 1]])) == 0
    assert generalised_word_counts(orthogonal_array("L9")[:, :3]) == pytest.approx((0, 0, 2))

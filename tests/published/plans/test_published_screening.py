"""Plackett-Burman, definitive screening and orthogonal arrays against published tables and properties."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from meltdoe.plans.families.orthogonal_arrays import array_names, generalised_word_counts, orthogonal_array, strength
from meltdoe.plans.families.screening import definitive_screening, plackett_burman
from meltdoe.plans.fractions.foldover import foldover
from meltdoe.plans.merits.aliasing import alias_matrix

HERE = Path(__file__).parent
FloatArray = npt.NDArray[np.float64]


def read(name: str) -> FloatArray:
    return np.loadtxt(HERE / f"{name}.csv", delimiter=",", skiprows=1)


def is_orthogonal(table: FloatArray) -> bool:
    return bool(np.array_equal(table.T @ table, len(table) * np.eye(table.shape[1])))


def pair_products(table: FloatArray) -> FloatArray:
    return np.stack([table[:, i] * table[:, j] for i, j in combinations(range(table.shape[1]), 2)], axis=1)


def as_row_set(table: FloatArray) -> set[tuple[float, ...]]:
    return {tuple(row) for row in table.tolist()}


def same_design(a: FloatArray, b: FloatArray) -> bool:
    """Equal up to relabelling as far as inner products of columns with pairs of columns can tell."""

    def profile(t: FloatArray) -> list[float]:
        return sorted(np.abs(t.T @ pair_products(t)).ravel().round(9).tolist())

    return profile(a) == profile(b)


def test_plackett_burman_12() -> None:
    """Plackett and Burman (1946), Biometrika 33, 305-325; Box, Hunter and Hunter (1978), p. 398; NIST files PB12.DAT
    and PB12CONF.DAT (seen). First row and projections remembered; counts recomputed from the NIST array.
    """
    printed, own = read("plackett-burman-12"), plackett_burman(12)
    for table in (printed, own):
        assert is_orthogonal(table)
        assert not table.sum(axis=0).any()
        aliases = table.T @ pair_products(table) / 12
        assert set(np.abs(aliases).round(9).ravel()) == {0.0, round(1 / 3, 9)}
        assert ((np.abs(aliases) > 0.1).sum(axis=1) == 45).all()
        for three in combinations(range(11), 3):
            counts = np.unique(table[:, list(three)], axis=0, return_counts=True)[1]
            assert sorted(counts.tolist()) == [1, 1, 1, 1, 2, 2, 2, 2]
        for four in combinations(range(11), 4):
            assert len(np.unique(table[:, list(four)], axis=0)) == 11
        folded = np.vstack([table, foldover(table)])
        assert not (folded.T @ pair_products(folded)).any()
    assert own[0].tolist() == [1, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1]
    first = (printed[:, [0]] * pair_products(printed)).sum(axis=0) / 12
    pairs = list(combinations(range(11), 2))
    assert (first > 0.1).sum() == 15
    assert (first < -0.1).sum() == 30
    assert first[pairs.index((1, 2))] == pytest.approx(-1 / 3)
    assert first[pairs.index((1, 3))] == pytest.approx(1 / 3)
    assert same_design(printed, own)


def test_a_faulty_copy_of_the_twelve_run_table_is_found_out() -> None:
    """A circulating copy of NIST e-Handbook table 3.18 ends with a row of minus signs although it needs +-+++---+--."""
    faulty = read("plackett-burman-12-faulty")
    assert not is_orthogonal(faulty)
    assert faulty.sum(axis=0).any()
    assert np.abs(faulty.T @ faulty - 12 * np.eye(11)).max() == 2
    assert strength(faulty) == 0
    faulty[-1] = [1, -1, 1, 1, 1, -1, -1, -1, 1, -1, -1]
    assert is_orthogonal(faulty)


def test_plackett_burman_20() -> None:
    """Plackett and Burman (1946); NIST files PB20.DAT and PB20CONF.DAT (seen): alias coefficients 0.2 and -0.6."""
    printed, own = read("plackett-burman-20"), plackett_burman(20)
    for table in (printed, own):
        assert is_orthogonal(table)
        assert not table.sum(axis=0).any()
        aliases = alias_matrix(np.column_stack([np.ones(20), table]), pair_products(table))[1:]
        sizes = np.abs(aliases).round(9)
        assert set(sizes.ravel()) == {0.0, 0.2, 0.6}
        assert ((sizes == 0.2).sum(axis=1) == 144).all()
        assert ((sizes == 0.6).sum(axis=1) == 9).all()
        assert (aliases[sizes == 0.6] < 0).all()
    first = (printed[:, [0]] * pair_products(printed)).sum(axis=0) / 20
    assert (np.isclose(first, 0.2).sum(), np.isclose(first, -0.2).sum()) == (63, 81)
    assert own[0].tolist() == [1.0 if sign == "+" else -1.0 for sign in "++--++++-+-+----++-"]
    assert same_design(printed, own)


@pytest.mark.parametrize("order", [6, 8])
def test_definitive_screening(order: int) -> None:
    """Jones and Nachtsheim (2011), J. Qual. Technol. 43, 1-15; Xiao, Lin and Bai (2012), J. Qual. Technol. 44, 2-8;
    not seen: construction remembered, numbers recomputed.
    """
    expected = {  # correlation of two squares, largest of two interactions, variance, D of the first-order model
        6: (0.1333333333, 0.5, 0.1, 0.7986091273),
        8: (0.1904761905, 0.6666666667, 0.07142857143, 0.8414883381),
    }[order]
    for table in (read(f"definitive-screening-{order}"), definitive_screening(order)):
        n = 2 * order + 1
        half = table[:order]
        assert table.shape == (n, order)
        assert np.array_equal(half.T @ half, (order - 1) * np.eye(order))
        assert as_row_set(half) == as_row_set(-table[order : 2 * order])
        squares, crosses = table**2, pair_products(table)
        assert not (table.T @ crosses).any()
        assert not (table.T @ squares).any()
        assert np.corrcoef(squares.T)[np.triu_indices(order, 1)] == pytest.approx(expected[0], abs=1e-8)
        off = np.abs(np.corrcoef(crosses.T) - np.eye(crosses.shape[1]))
        assert off.max() == pytest.approx(expected[1], abs=1e-8)
        X = np.column_stack([np.ones(n), table])
        assert np.diag(np.linalg.inv(X.T @ X))[1:] == pytest.approx(expected[2], abs=1e-9)
        assert 1.0 / (n * expected[2]) == pytest.approx(2 * (order - 1) / n)
        assert np.linalg.det(X.T @ X) ** (1 / (order + 1)) / n == pytest.approx(expected[3], abs=1e-7)
        assert np.linalg.matrix_rank(np.column_stack([X, squares])) == n


def test_six_factor_definitive_screening_fits_any_three_factors() -> None:
    """Jones and Nachtsheim (2011), remembered: every three factors allow the full quadratic."""
    table = definitive_screening(6)
    for three in combinations(range(6), 3):
        t = table[:, list(three)]
        assert np.linalg.matrix_rank(np.column_stack([np.ones(13), t, t**2, pair_products(t)])) == 10


@pytest.mark.parametrize("name", array_names())
def test_arrays_have_strength_two(name: str) -> None:
    table = orthogonal_array(name)
    assert all(strength(table[:, list(pair)]) == 2 for pair in combinations(range(table.shape[1]), 2))


def balanced_triples(table: npt.NDArray[np.int64]) -> int:
    return sum(strength(table[:, list(three)]) == 3 for three in combinations(range(table.shape[1]), 3))


def contrast_columns(table: npt.NDArray[np.int64]) -> FloatArray:
    return np.column_stack(
        [np.ones(len(table))] + [column == level for column in table.T for level in np.unique(column)[1:]]
    )


def test_l9_and_l18() -> None:
    """NIST/SEMATECH e-Handbook, section 5.3.3.10 (arrays seen); properties recomputed; A3 as in Xu and Wu (2001)."""
    nine, eighteen = orthogonal_array("L9"), orthogonal_array("L18")
    assert balanced_triples(nine) == 0
    assert generalised_word_counts(nine) == pytest.approx((0, 0, 8), abs=1e-9)
    assert np.linalg.matrix_rank(contrast_columns(nine)) == 9
    assert balanced_triples(eighteen) == 12
    assert generalised_word_counts(eighteen) == pytest.approx((0, 0, 28), abs=1e-9)
    main = contrast_columns(eighteen)
    assert np.linalg.matrix_rank(main) == 16
    crossed = (eighteen[:, [0]] == 2) * np.column_stack([eighteen[:, 1] == level for level in (2, 3)])
    assert np.linalg.matrix_rank(np.column_stack([main, crossed])) == 18  # remembered: this interaction is free

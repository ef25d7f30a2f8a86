"""Central composite and Box-Behnken designs against published run counts, distances and recomputed properties."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import numpy.typing as npt
import pytest

from meltdoe.plans.families.response_surface import box_behnken, central_composite, composite_blocks

FloatArray = npt.NDArray[np.float64]


def quadratic(table: FloatArray) -> FloatArray:
    crosses = [table[:, i] * table[:, j] for i, j in combinations(range(table.shape[1]), 2)]
    return np.column_stack([np.ones(len(table)), table, table**2, *crosses])


# NIST/SEMATECH e-Handbook, tables 3.23 and 3.28 (a copy was seen): factors, factorial runs, axial distance, runs
PRINTED = [
    (2, 4, 1.414213562, 13), (3, 8, 1.681792831, 20), (4, 16, 2.0, 30), (5, 16, 2.0, 33), (5, 32, 2.37841423, 52),
    (6, 32, 2.37841423, 54), (6, 64, 2.828427125, 91),
]  # fmt: skip


@pytest.mark.parametrize(("k", "factorial_runs", "alpha", "runs"), PRINTED)
def test_rotatable_composites(k: int, factorial_runs: int, alpha: float, runs: int) -> None:
    table = central_composite(k, factorial_runs=factorial_runs)
    assert len(table) == runs
    assert np.abs(table).max() == pytest.approx(alpha, abs=1e-9)
    fourth = (table**4).sum(axis=0)
    crossed = (table[:, 0] ** 2 * table[:, 1] ** 2).sum()
    assert fourth / crossed == pytest.approx(3.0, abs=1e-9)


@pytest.mark.parametrize(
    ("k", "d", "centre", "unit"),
    [  # recomputed: |X'X|^(1/p)/n and scaled variance n f'(X'X)^-1 f at the centre and at distance 1
        (2, 0.569018829, 2.6, 3.49375),
        (3, 0.6157897697, 3.326804535, 3.907387152),
        (4, 0.7205120205, 5.0, 4.84375),
    ],
)
def test_composite_efficiency_and_variance(k: int, d: float, centre: float, unit: float) -> None:
    table = central_composite(k)
    X = quadratic(table)
    inverse = np.linalg.inv(X.T @ X)
    n, p = X.shape
    assert np.linalg.det(X.T @ X) ** (1 / p) / n == pytest.approx(d, rel=1e-6)
    rng = np.random.default_rng(5)
    directions = rng.normal(size=(6, k))
    directions /= np.sqrt((directions**2).sum(axis=1, keepdims=True))
    for points, value in ((np.zeros((1, k)), centre), (directions, unit)):  # rotatable: the same in every direction
        f = quadratic(points)
        assert n * np.einsum("ij,jk,ik->i", f, inverse, f) == pytest.approx(value, rel=1e-6)


def test_two_factor_composite_in_orthogonal_blocks() -> None:
    """NIST e-Handbook tables 3.28 and 3.29: axial distance 1.414214 with three centre runs in each block (printed)."""
    design = composite_blocks(2, factorial_centres=3, axial_centres=3)
    assert design.axial == pytest.approx(1.414213562, abs=1e-9)
    block = np.where(design.block == 2, 1.0, -1.0)
    block -= block.mean()
    columns = quadratic(design.table)[:, 1:]
    assert block @ (columns - columns.mean(axis=0)) == pytest.approx(np.zeros(5), abs=1e-12)


# Box and Behnken (1960), Technometrics 2, 455-475; runs for 3 to 6 factors printed in NIST e-Handbook table 3.28, the
# rest remembered or recomputed: factors, runs, edge runs, varied factors, rank, sum x^2, sums x_i^2 x_j^2, rotatable
BOX_BEHNKEN = [
    (3, 15, 12, 2, 10, 8, {4}, False), (4, 27, 24, 2, 15, 12, {4}, True), (5, 46, 40, 2, 21, 16, {4}, False),
    (6, 54, 48, 3, 28, 24, {8, 16}, False), (7, 62, 56, 3, 36, 24, {8}, True),
]  # fmt: skip


@pytest.mark.parametrize(("k", "runs", "edges", "varied", "rank", "squares", "crossed", "rotatable"), BOX_BEHNKEN)
def test_box_behnken(
    k: int, runs: int, edges: int, varied: int, rank: int, squares: int, crossed: set[int], rotatable: bool
) -> None:
    table = box_behnken(k)
    nonzero = (table != 0).sum(axis=1)
    assert len(table) == runs
    assert (nonzero > 0).sum() == edges
    assert set(nonzero[nonzero > 0]) == {varied}
    assert np.linalg.matrix_rank(quadratic(table)) == rank
    assert set((table**2).sum(axis=0)) == {squares}
    products = {float((table[:, i] ** 2 * table[:, j] ** 2).sum()) for i, j in combinations(range(k), 2)}
    assert products == crossed
    assert (len(products) == 1 and squares == 3 * products.pop()) == rotatable

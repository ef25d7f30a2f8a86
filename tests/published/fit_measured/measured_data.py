"""Reading the published tables beside this file, and writing their models as plain matrices.

Sources of the tables stand in the tests that use them. "Printed" there means seen in print and recomputed, "remembered"
that the figure is remembered as printed and was recomputed, "recomputed" that it was only recomputed, in R 4.2.2.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def read(name: str) -> dict[str, list[str]]:
    """Columns of a table by name, as text."""
    with (Path(__file__).parent / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {key: [row[key] for row in rows] for key in rows[0]}


def numbers(table: dict[str, list[str]], *names: str) -> Array:
    """Columns as numbers: (n,) for one name, (n, k) for several."""
    columns = np.array([table[name] for name in names], dtype=float).T
    return columns[:, 0] if len(names) == 1 else columns


def sum_contrasts(labels: list[str]) -> Array:
    """Sum-to-zero columns (n, levels - 1), levels in the order of their first appearance."""
    levels = list(dict.fromkeys(labels))
    table = np.vstack([np.eye(len(levels) - 1), -np.ones(len(levels) - 1)])
    return table[[levels.index(label) for label in labels]]


def products(a: Array, b: Array) -> Array:
    """All products of a column of a and a column of b."""
    return np.einsum("ni,nj->nij", a, b).reshape(len(a), -1)


def model(**terms: Array) -> tuple[Array, dict[str, list[int]]]:
    """Model matrix with a constant before the terms, and the columns of each term."""
    blocks, where, at = [np.ones((len(next(iter(terms.values()))), 1))], {}, 1
    for name, columns in terms.items():
        columns = columns.reshape(len(columns), -1)
        where[name] = list(range(at, at + columns.shape[1]))
        at += columns.shape[1]
        blocks.append(columns)
    return np.hstack(blocks), where


def quadratic(x: Array) -> tuple[Array, Array]:
    """Full quadratic in two factors, and the powers of its terms."""
    powers = np.array([[0, 0], [1, 0], [0, 1], [2, 0], [0, 2], [1, 1]])
    return np.prod(x[:, None, :] ** powers, axis=2), powers

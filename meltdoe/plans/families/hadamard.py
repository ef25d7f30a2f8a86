"""Hadamard and conference matrices, from quadratic residues.

A Hadamard matrix H of order n has entries -1/+1 and H'H = n I; a conference matrix C of order m has zeros on the
diagonal, -1/+1 elsewhere and C'C = (m - 1) I. Paley (1933), J. Math. Phys. 12, 311-320 builds both from the quadratic
character of a field of q elements: C of order q + 1; H = C + I of order q + 1 where q = 3 mod 4; H of order 2(q + 1)
where q = 1 mod 4. Orders that are products come from the Kronecker product (Sylvester). Constructions from memory;
every matrix is checked for orthogonality before it is handed out.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import linalg

__all__ = ["conference", "hadamard"]

FloatArray = npt.NDArray[np.float64]

# orders of Hadamard matrices by construction; between them every multiple of 4 from 4 to 48
_RESIDUES_ONCE = {12: 11, 20: 19, 24: 23, 44: 43, 48: 47}
_RESIDUES_TWICE = {28: 13, 36: 17}
_FIELDS = {3: (3, 1), 5: (5, 1), 7: (7, 1), 9: (3, 2), 11: (11, 1), 13: (13, 1)}


def _character(p: int, degree: int) -> FloatArray:
    """Quadratic character of x - y for all pairs of elements of the field of p^degree, shape (q, q).

    Degree 2 takes numbers a + b i with i^2 = -1, a field where p = 3 mod 4.
    """
    elements = [(a, b) for b in range(p if degree == 2 else 1) for a in range(p)]
    squares = {((a * a - b * b) % p, (2 * a * b) % p) for a, b in elements} - {(0, 0)}
    return np.array(
        [
            [0.0 if x == y else 1.0 if ((x[0] - y[0]) % p, (x[1] - y[1]) % p) in squares else -1.0 for y in elements]
            for x in elements
        ]
    )


def _bordered(character: FloatArray) -> FloatArray:
    """Conference matrix from a quadratic character: symmetric where -1 is a square, else skew."""
    q = len(character)
    matrix = np.zeros((q + 1, q + 1))
    matrix[0, 1:] = 1.0
    matrix[1:, 0] = 1.0 if q % 4 == 1 else -1.0
    matrix[1:, 1:] = character
    return matrix


def conference(order: int) -> FloatArray:
    """Conference matrix of order 4, 6, 8, 10, 12 or 14.

    Raises
    ------
    ValueError
        For another order.
    """
    if order - 1 not in _FIELDS:
        raise ValueError(f"conference matrices are built for orders 4, 6, 8, 10, 12 and 14, not {order}")
    matrix = _bordered(_character(*_FIELDS[order - 1]))
    _assert_orthogonal(matrix, order - 1)
    return matrix


def hadamard(order: int) -> FloatArray:
    """Hadamard matrix of order 4, 8, 12, ..., 48 whose first column is ones.

    Raises
    ------
    ValueError
        For another order.
    """
    if order % 4 or not 4 <= order <= 48:
        raise ValueError(f"Hadamard matrices are built for multiples of 4 from 4 to 48, not {order}")
    if order & (order - 1) == 0:
        matrix = linalg.hadamard(order).astype(float)
    elif order in _RESIDUES_ONCE:
        matrix = np.eye(order) + _bordered(_character(_RESIDUES_ONCE[order], 1))
    elif order in _RESIDUES_TWICE:
        symmetric = _bordered(_character(_RESIDUES_TWICE[order], 1))
        matrix = np.kron(symmetric, [[1, 1], [1, -1]]) + np.kron(np.eye(order // 2), [[1, -1], [-1, -1]])
    else:
        matrix = np.kron([[1.0, 1.0], [1.0, -1.0]], hadamard(order // 2))
    _assert_orthogonal(matrix, order)
    return np.asarray(matrix * matrix[:, :1])


def _assert_orthogonal(matrix: FloatArray, square: int) -> None:
    """A slip in a construction must never reach a plan."""
    if not np.array_equal(matrix.T @ matrix, square * np.eye(len(matrix))):
        raise AssertionError(f"matrix of order {len(matrix)} is not orthogonal")

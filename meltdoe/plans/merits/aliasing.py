"""What a table of settings can and cannot tell apart, for any design and any model.

Bias of least squares by left-out terms: E(b1) = beta1 + A beta2 with the alias matrix A = (X1'X1)^-1 X1'X2 (Box and
Wilson 1951, J. R. Statist. Soc. B 13). Terms that cannot be told apart at all are found from the linear dependences
between the columns of the model matrix: columns belong together where they share a smallest dependent set.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy import linalg

from meltdoe.wording import listed

__all__ = ["AliasGroup", "alias_groups", "alias_matrix", "correlations", "indistinguishable", "interaction_columns"]

FloatArray = npt.NDArray[np.float64]

_TOLERANCE = 1e-8


@dataclass(frozen=True, slots=True)
class AliasGroup:
    """Effects whose columns agree up to sign, so that only their sum is estimated.

    Parameters
    ----------
    effects : names, shortest first.
    signs : +1 or -1 per effect, relative to the first.
    """

    effects: tuple[str, ...]
    signs: tuple[int, ...]

    @property
    def sentence(self) -> str:
        """For example ``"A is mixed up with BC and -DE"``."""
        others = [("-" if sign < 0 else "") + name for name, sign in zip(self.effects[1:], self.signs[1:], strict=True)]
        if not others:
            return f"{self.effects[0]} stands alone"
        return f"{self.effects[0]} is mixed up with {listed(others)}"


def alias_matrix(X1: npt.ArrayLike, X2: npt.ArrayLike) -> FloatArray:
    """Bias of the fitted terms per unit of each left-out term.

    Parameters
    ----------
    X1 : (n_runs, p) model matrix that is fitted.  X2 : (n_runs, q) columns of the terms left out.

    Returns
    -------
    (p, q) matrix (X1'X1)^-1 X1'X2; the minimum-norm solution where the columns of X1 depend on each other.
    """
    first, second = np.asarray(X1, dtype=float), np.asarray(X2, dtype=float)
    if not second.shape[1]:
        return np.zeros((first.shape[1], 0))
    return np.asarray(linalg.lstsq(first, second)[0])


def correlations(X: npt.ArrayLike) -> FloatArray:
    """Correlations between the columns of X, shape (p, p); zero for a column that never changes."""
    columns = np.asarray(X, dtype=float)
    centred = columns - columns.mean(axis=0)
    length = np.sqrt((centred**2).sum(axis=0))
    constant = length <= _TOLERANCE * np.maximum(1.0, np.abs(columns).max(axis=0, initial=0.0))
    scaled = np.where(constant, 0.0, centred / np.where(constant, 1.0, length))
    return np.asarray(np.clip(scaled.T @ scaled, -1.0, 1.0))


def interaction_columns(table: npt.ArrayLike, names: Sequence[str], order: int = 2) -> Mapping[str, FloatArray]:
    """Columns of all main effects and interactions of up to `order` factors, shortest first.

    Names are joined as a product: ``"ABC"`` for one-letter names, else ``"flux * peak"``.
    """
    runs = np.asarray(table, dtype=float)
    joint = "" if all(len(name) == 1 for name in names) else " * "
    return {
        joint.join(names[i] for i in members): np.asarray(runs[:, list(members)].prod(axis=1))
        for size in range(1, order + 1)
        for members in combinations(range(runs.shape[1]), size)
    }


def alias_groups(table: npt.ArrayLike, names: Sequence[str], order: int = 3) -> tuple[AliasGroup, ...]:
    """Effects of up to `order` factors that share their column, up to sign, with the mean or with each other.

    Parameters
    ----------
    table : (n_runs, n_factors) settings, usually -1/+1.
    order : longest interactions considered, 1 to 3 or more.

    Returns
    -------
    tuple of AliasGroup
        In order of their first effect. A group that begins with ``"mean"`` holds effects that never change. Effects
        that stand alone are left out; partial aliasing shows in `alias_matrix`.
    """
    columns = {"mean": np.ones(len(np.asarray(table))), **interaction_columns(table, names, order)}
    groups: dict[bytes, list[tuple[str, int]]] = {}
    for name, column in columns.items():
        nonzero = np.flatnonzero(np.abs(column) > _TOLERANCE)
        if not len(nonzero):
            continue
        sign = 1 if column[nonzero[0]] > 0 else -1
        key = np.rint(sign * column / _TOLERANCE).astype(np.int64).tobytes()
        groups.setdefault(key, []).append((name, sign))
    return tuple(
        AliasGroup(tuple(name for name, _ in group), tuple(sign * group[0][1] for _, sign in group))
        for group in groups.values()
        if len(group) > 1
    )


def indistinguishable(X: npt.ArrayLike, names: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Groups of columns that cannot be told apart by the runs, however they turn out.

    Parameters
    ----------
    X : (n_runs, p) model matrix; n_runs may be smaller than p.
    names : p column names, those to be kept first in front.

    Returns
    -------
    tuple of tuples of names
        Empty where X has full column rank. Two columns are in one group where some smallest dependent set of columns
        holds both (the connected components of the column matroid); a column of zeros is a group of its own. Columns in
        no group are estimable.

    Notes
    -----
    Every dependent column is written on the earlier independent ones; these fundamental circuits span all
    dependences, so joining the columns of each gives the components (Oxley 2011, Matroid Theory, from memory).
    """
    columns = np.asarray(X, dtype=float)
    length = np.sqrt((columns**2).sum(axis=0))
    unit = columns / np.where(length > 0, length, 1.0)
    basis = np.empty((len(columns), 0))
    independent: list[int] = []
    group = list(range(len(names)))  # label of the group of each column
    dependent: set[int] = set()
    for j in range(len(names)):
        coordinates = basis.T @ unit[:, j]
        rest = unit[:, j] - basis @ coordinates
        rest -= basis @ (basis.T @ rest)  # orthogonalised twice: once loses digits (Parlett 1998, from memory)
        size = float(np.sqrt(rest @ rest))
        if size > _TOLERANCE * 10:
            basis = np.column_stack([basis, rest / size])
            independent.append(j)
            continue
        circuit = [j]
        if independent:
            weights = linalg.lstsq(unit[:, independent], unit[:, j])[0]
            circuit += [i for i, weight in zip(independent, weights, strict=True) if abs(weight) > _TOLERANCE * 10]
        dependent.update(circuit)
        merged = {group[i] for i in circuit}
        group = [min(merged) if label in merged else label for label in group]
    labels = dict.fromkeys(group[j] for j in sorted(dependent))
    return tuple(tuple(names[j] for j in range(len(names)) if group[j] == label) for label in labels)

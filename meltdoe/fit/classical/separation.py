"""Whether passes and failures are separated by the settings, and by which.

With s_i = 2 y_i - 1, a direction b with s_i x_i' b >= 0 for every melt, and > 0 for some, sends the
likelihood of a logistic model to its supremum along b: no finite maximum exists. Separation is complete
where all can be made > 0, quasi-complete where some melts must stay on the boundary x_i' b = 0.

One linear programme finds all of it: maximise sum t_i with 0 <= t_i <= 1 and s_i x_i' b >= t_i. Directions
form a cone, so at the optimum t_i is 1 for every melt that can leave the boundary and 0 for the others.

Sources (from memory): Albert & Anderson 1984, Biometrika 71, 1-10; linear programmes: Konis 2007 (thesis,
Oxford). The cumulative-logit version stacks the same inequalities for the two thresholds around each grade.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meltdoe.errors import Inestimable

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult

__all__ = [
    "Separation",
    "grade_separation",
    "require_independent_columns",
    "separation",
    "term_names",
]

Array = NDArray[np.float64]
_ZERO = 1e-7  # programmes are solved to about 1e-9; columns are scaled to a largest value of 1


@dataclass(frozen=True, slots=True, eq=False)
class Separation:
    """What the linear programme found.

    Attributes
    ----------
    kind : "none", "quasi-complete" or "complete".
    direction : (p,) combination of columns, larger towards passes (worse grades, for grades), largest entry
        1 in size, as few columns as the data allow; zeros where `kind` is "none".
    terms : names of the columns that carry `direction`.
    infinite_terms : names of all columns without a finite maximum likelihood estimate.
    alone : names of the columns (with the intercept, where there is one) that separate on their own.
    boundary : (n,) True for rows that no separating direction can move off the boundary.
    one_sided : every row has the same outcome, so that any setting "separates".
    """

    kind: Literal["none", "quasi-complete", "complete"]
    direction: Array
    terms: tuple[str, ...]
    infinite_terms: tuple[str, ...]
    alone: tuple[str, ...]
    boundary: NDArray[np.bool_]
    one_sided: bool


def term_names(columns: int, names: Sequence[str] | None) -> tuple[str, ...]:
    """`names` as a tuple, or "column 1", "column 2" ... where none are given."""
    if names is None:
        return tuple(f"column {j + 1}" for j in range(columns))
    if len(names) != columns:
        raise ValueError(f"{len(names)} names for {columns} columns")
    return tuple(names)


def require_independent_columns(X: Array, terms: tuple[str, ...]) -> None:
    """Raise `Inestimable`, naming every column that takes part in a linear dependence.

    Parameters
    ----------
    X : (n, p) model matrix.
    terms : names of its columns.
    """
    rows, columns = X.shape
    size = np.linalg.norm(X, axis=0)
    scaled = X / np.where(size > 0, size, 1.0)
    _, s, vt = np.linalg.svd(scaled, full_matrices=True)
    rank = int(np.sum(s > 1e-9 * max(1.0, s.max(initial=0.0))))
    if rank == columns:
        return
    # A column belongs to a dependence exactly where some null vector is not zero on it.
    null = vt[rank:]
    tied = tuple(name for name, part in zip(terms, np.abs(null).max(axis=0), strict=True) if part > 1e-7)
    if rows < columns and len(tied) == columns:
        raise Inestimable(f"{rows} rows cannot settle {columns} terms: {', '.join(tied)}", tied)
    raise Inestimable(f"these terms changed together and cannot be told apart: {', '.join(tied)}", tied)


def separation(
    X: ArrayLike, y: ArrayLike, *, trials: ArrayLike | None = None, names: Sequence[str] | None = None
) -> Separation:
    """Look for separation of passes from failures.

    Parameters
    ----------
    X : (n, p) coded terms.
    y : (n,) successes out of `trials` (0 or 1 where `trials` is not given).
    trials : (n,) trials behind each row.
    names : names of the columns.

    Returns
    -------
    Separation; with p = 8 and n = 16 in about 20 ms.
    """
    design = np.asarray(X, dtype=float)
    successes = np.asarray(y, dtype=float)
    n = np.ones_like(successes) if trials is None else np.asarray(trials, dtype=float)
    passed, failed = successes > 0, successes < n
    # A row with both outcomes is two observations at one setting: the pair holds it on the boundary.
    inequalities = np.vstack([design[passed], -design[failed]])
    owner = np.concatenate([np.flatnonzero(passed), np.flatnonzero(failed)])
    terms = term_names(design.shape[1], names)
    one_sided = bool(passed.any() != failed.any())

    def separates(columns: list[int]) -> bool:
        return bool(_leaves_boundary(inequalities[:, columns]).any())

    return _describe(inequalities, owner, design, terms, one_sided, separates, design.shape[1])


def grade_separation(X: ArrayLike, grade: ArrayLike, *, names: Sequence[str] | None = None) -> Separation:
    """The same for ordered grades under a cumulative logit model with thresholds.

    Parameters
    ----------
    X : (n, p) coded terms; a constant column is left to the thresholds.
    grade : (n,) whole numbers, 0 the best. Grades never seen are passed over: a threshold beside
        one is not an estimate that the data could make.
    names : names of the columns.
    """
    design = np.asarray(X, dtype=float)
    values, level = np.unique(np.asarray(grade), return_inverse=True)
    columns = design.shape[1]
    varying = np.ptp(design, axis=0) > 0
    effects = np.where(varying, design, 0.0)
    thresholds = np.eye(len(values) - 1)
    below_top, above_bottom = level < len(values) - 1, level > 0
    # k_g - x'b >= 0 for the threshold above a grade, x'b - k_(g-1) >= 0 for the one below it.
    inequalities = np.vstack(
        [
            np.hstack([-effects[below_top], thresholds[level[below_top]]]),
            np.hstack([effects[above_bottom], -thresholds[level[above_bottom] - 1]]),
        ]
    )
    owner = np.concatenate([np.flatnonzero(below_top), np.flatnonzero(above_bottom)])
    cuts = list(range(columns, columns + len(values) - 1))

    def separates(subset: list[int]) -> bool:
        return bool(_leaves_boundary(inequalities[:, subset + cuts]).any())

    terms = term_names(columns, names)
    return _describe(inequalities, owner, design, terms, len(values) < 2, separates, columns)


def _describe(
    inequalities: Array,
    owner: NDArray[np.int_],
    design: Array,
    terms: tuple[str, ...],
    one_sided: bool,
    separates: Callable[[list[int]], bool],
    columns: int,
) -> Separation:
    size = np.abs(inequalities).max(axis=0, initial=0.0)
    scaled = inequalities / np.where(size > 0, size, 1.0)
    free = _leaves_boundary(scaled)
    # A row is off the boundary where any of its inequalities can be made strict.
    off = np.zeros(design.shape[0], dtype=bool)
    np.logical_or.at(off, owner, free)
    if not free.any():
        nothing: tuple[str, ...] = ()
        return Separation("none", np.zeros(columns), nothing, nothing, nothing, ~off, one_sided)

    direction = _plainest_direction(scaled, free)[:columns]
    direction = np.where(np.abs(direction) > _ZERO, direction, 0.0)
    direction = direction / np.where(size[:columns] > 0, size[:columns], 1.0)
    if np.abs(direction).max() > 0:
        direction = direction / np.abs(direction).max()
    infinite = [j for j in range(columns) if size[j] > 0 and _can_move(scaled, j)]
    constant = [j for j in range(columns) if np.ptp(design[:, j]) == 0]
    alone = [j for j in range(columns) if j not in constant and not one_sided and separates([*constant, j])]
    return Separation(
        kind="complete" if free.all() else "quasi-complete",
        direction=direction,
        terms=tuple(terms[j] for j in np.flatnonzero(direction)),
        infinite_terms=tuple(terms[j] for j in infinite),
        alone=tuple(terms[j] for j in alone),
        boundary=~off,
        one_sided=one_sided,
    )


def _leaves_boundary(A: Array) -> NDArray[np.bool_]:
    """Which rows of A v >= 0 can be strict: maximise sum t, 0 <= t <= 1, A v >= t."""
    from scipy.optimize import linprog  # inside: it takes a sixth of a second to load

    m, q = A.shape
    result = linprog(
        np.concatenate([np.zeros(q), -np.ones(m)]),
        A_ub=np.hstack([-A, np.eye(m)]),
        b_ub=np.zeros(m),
        bounds=[(None, None)] * q + [(0.0, 1.0)] * m,
    )
    return np.asarray(_solution(result)[q:] > 0.5)


def _solution(result: OptimizeResult) -> Array:
    """The solution of a programme; all of them here have one, whatever the data."""
    if result.x is None:
        raise RuntimeError(f"a linear programme for separation was not solved: {result.message}")
    return np.asarray(result.x, dtype=float)


def _plainest_direction(A: Array, free: NDArray[np.bool_]) -> Array:
    """Direction with the smallest sum of absolute entries that moves every row that can be moved."""
    from scipy.optimize import linprog  # inside: it takes a sixth of a second to load

    q = A.shape[1]
    result = linprog(np.ones(2 * q), A_ub=np.hstack([-A, A]), b_ub=-free.astype(float), bounds=[(0.0, None)] * (2 * q))
    found = _solution(result)
    return np.asarray(found[:q] - found[q:])


def _can_move(A: Array, j: int) -> bool:
    """Whether some direction in the cone A v >= 0 has v_j other than zero and moves a row with it."""
    from scipy.optimize import linprog  # inside: it takes a sixth of a second to load

    m, q = A.shape
    for sign in (1.0, -1.0):
        aim = np.zeros(q)
        aim[j] = -sign
        result = linprog(aim, A_ub=-A, b_ub=np.zeros(m), bounds=[(-1.0, 1.0)] * q)
        if _solution(result)[j] * sign > _ZERO:
            return True
    return False

"""Whether one slope serves all grades: the likelihood ratio test of proportional odds.

The wider model gives some columns a slope of their own at every threshold (Peterson and Harrell 1990, Appl. Statist.
39, 205-217, from memory). Notation as in `meltdoe.fit.classical.ordered_logit`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from meltdoe.fit.classical.grade_likelihood import (
    checked_grades,
    climb_to_maximum,
    common_slopes,
    penalised_objective,
    starting_point,
)
from meltdoe.fit.classical.separation import separation

__all__ = ["ProportionalityTest", "proportional_odds_test"]


@dataclass(frozen=True, slots=True)
class ProportionalityTest:
    """Likelihood ratio test of one slope for all thresholds against a slope for each.

    Where the data cannot carry the wider model `statistic` and `p_value` are nan and `reason` says why; it is
    empty otherwise.
    """

    terms: tuple[str, ...]
    statistic: float
    df: int
    p_value: float
    reason: str


def proportional_odds_test(
    X: ArrayLike,
    y: ArrayLike,
    n_grades: int,
    weights: ArrayLike | None = None,
    columns: Sequence[int] | None = None,
    names: Sequence[str] | None = None,
) -> ProportionalityTest:
    """Test whether the slopes of `columns` (all where None) are the same at every threshold.

    Both models are fitted by maximum likelihood to the grades that were seen (partial proportional odds: Peterson and
    Harrell 1990, Appl. Statist. 39, 205-217, from memory). Small data seldom carry the wider one; the result then says
    so instead of giving a p value. Raises as `ordered_logit` does for bad input or dependent columns.
    """
    data = checked_grades(X, y, n_grades, weights, 0.9, names).only_seen()
    q, p = data.n_grades - 1, data.X.shape[1]
    tested = list(range(p)) if columns is None else list(columns)
    terms = tuple(data.names[j] for j in tested)
    df = max(q - 1, 0) * len(tested)

    def untestable(reason: str) -> ProportionalityTest:
        return ProportionalityTest(terms, float("nan"), df, float("nan"), reason)

    if df == 0:
        return untestable("fewer than three grades were seen, so there is one slope only")
    narrow = common_slopes(data.X, q)
    # The wider model adds, for each tested column, a change of slope at every threshold but the first.
    change = np.einsum("jl,ic->ijlc", np.eye(q)[:, 1:], -data.X[:, tested]).reshape(data.y.size, q, df)
    wide = np.concatenate([narrow, change], axis=2)
    above, below = data.y < q, data.y > 0
    sides = np.vstack([wide[above, data.y[above]], wide[below, data.y[below] - 1]])
    passed = np.repeat([1.0, 0.0], [int(above.sum()), int(below.sum())])
    if separation(sides, passed).kind != "none":
        return untestable("too few castings in some grade to see a slope at each threshold")
    start, tops = np.concatenate([starting_point(data), np.zeros(p)]), []
    for Z in (narrow, wide):
        objective = penalised_objective(data, Z, q, 0.0)
        found = climb_to_maximum(objective, np.concatenate([start, np.zeros(Z.shape[2] - start.size)]))
        if found is None:
            return untestable("separate slopes would make the chance of some grade negative")
        top, start = found
        tops.append(top)
    statistic = max(2 * (tops[1] - tops[0]), 0.0)
    return ProportionalityTest(terms, statistic, df, float(special.chdtrc(df, statistic)), "")

"""How well two gradings of the same castings agree: weighted kappa (Cohen 1968, Psychological Bulletin 70, 213-220).

With p_ij the share of castings graded i first and j second, and v_ij the weight of that disagreement (0 on the
diagonal; |i - j| or its square),

    kappa = 1 - sum v_ij p_ij / sum v_ij p_i. p_.j

1 is perfect agreement, 0 what two graders reach who only share how often they use each grade. The standard error is
that of Fleiss, Cohen & Everitt 1969, Psychological Bulletin 72, 323-327 (from memory). It is 0 where all castings
agree, so limits come from draws of the shares instead: Dirichlet with the counts plus one casting's worth
spread evenly over all cells (our choice), which leaves room for disagreements not yet seen.

In a series file a second grading is an outcome of its own: the name of the first with "_again", the same grades, and no
"good" (it is described, not judged).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meltdoe.errors import Inestimable
from meltdoe.log.melt_log import Log
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Unseen

__all__ = ["AGAIN", "Agreement", "Weights", "graded_twice", "weighted_kappa"]

Array = NDArray[np.float64]
Weights = Literal["none", "linear", "quadratic"]

AGAIN = "_again"  # ending of the name of a second grading
_DRAWS, _SEED = 4000, 1968
_FEWEST = 3  # castings graded twice below which a series is not judged


@dataclass(frozen=True, slots=True, eq=False)
class Agreement:
    """Two gradings of the same castings.

    Attributes
    ----------
    table : (k, k) counts, the first grading in rows. grades : names of rows and columns.
    alike : share of castings graded alike; by_chance : share to be expected from the use of the grades alone.
    kappa, se : weighted kappa and its large-sample standard error.
    low, high : limits at `level`.
    """

    table: NDArray[np.int64]
    grades: tuple[str, ...]
    alike: float
    by_chance: float
    kappa: float
    se: float
    low: float
    high: float
    level: float
    weights: str
    name: str = ""

    @property
    def castings(self) -> int:
        return int(self.table.sum())


def weighted_kappa(
    table: ArrayLike,
    weights: Weights | ArrayLike = "linear",
    *,
    level: float = 0.90,
    grades: Sequence[str] = (),
    name: str = "",
) -> Agreement:
    """Agreement of two gradings.

    Parameters
    ----------
    table : (k, k) counts of castings, the first grading in rows, the second in columns, k of 2 or more.
    weights : of disagreements: "none" (all alike), "linear", "quadratic", or a (k, k) table with zeros on its diagonal.
    level : level of the limits.

    Raises
    ------
    ValueError
        Where the table is not square, holds no casting, or the weights do not fit.
    Inestimable
        Where both gradings use one grade only, so that there is nothing to agree on.
    """
    counts = np.asarray(table)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or counts.shape[0] < 2 or (counts < 0).any():
        raise ValueError("the table of two gradings must be square, with counts of 0 or more")
    n, k = float(counts.sum()), counts.shape[0]
    if not n:
        raise ValueError("no casting was graded twice")
    v = _disagreement(weights, k)
    shares = counts / n
    rows, columns = shares.sum(axis=1), shares.sum(axis=0)
    if not (v * np.outer(rows, columns)).sum() > 0:
        raise Inestimable("both gradings use one grade only, so their agreement says nothing")
    kappa = float(_kappa(shares[None], v)[0])
    draws = np.random.default_rng(_SEED).dirichlet((counts + 1.0 / k**2).reshape(-1), _DRAWS).reshape(-1, k, k)
    low, high = np.quantile(_kappa(draws, v), [(1 - level) / 2, (1 + level) / 2])
    return Agreement(
        table=counts.astype(np.int64),
        grades=tuple(grades) or tuple(str(i + 1) for i in range(k)),
        alike=float(np.trace(shares)),
        by_chance=float(rows @ columns),
        kappa=kappa,
        se=_standard_error(shares, v, n),
        low=float(low),
        high=float(high),
        level=level,
        weights=weights if isinstance(weights, str) else "given",
        name=name,
    )


def graded_twice(series: MeltSeries, log: Log, *, level: float = 0.90) -> tuple[Agreement, ...]:
    """Agreement of every outcome that a log holds twice, the second time under its name with "_again".

    Pairs with fewer than three castings graded twice, or of one grade only, are left out.
    """
    by_name = {outcome.name: outcome for outcome in series.outcomes}
    found = []
    for first in series.outcomes:
        second = by_name.get(first.name + AGAIN)
        if second is None or first.kind == "measured" or (second.kind, second.grades) != (first.kind, first.grades):
            continue
        grades = first.grades or ("yes", "no")
        table = np.zeros((len(grades), len(grades)), dtype=np.int64)
        seen_melts = set()
        for entry in log.entries:
            a, b = (entry.seen.get(outcome.name, Unseen.NOT_REACHED) for outcome in (first, second))
            unit = entry.melt if first.seen_per == "melt" else (entry.melt, entry.mould)
            if isinstance(a, Unseen) or isinstance(b, Unseen) or unit in seen_melts:
                continue
            seen_melts.add(unit)
            table[grades.index(_word(first, a)), grades.index(_word(first, b))] += 1
        if table.sum() >= _FEWEST:
            try:
                found.append(weighted_kappa(table, level=level, grades=grades, name=first.name))
            except Inestimable:
                continue
    return tuple(found)


def _word(outcome: Outcome, seen: object) -> str:
    return str(seen) if outcome.kind == "grade" else "yes" if seen else "no"


def _disagreement(weights: Weights | ArrayLike, k: int) -> Array:
    """Weights of disagreements, the largest 1."""
    apart = np.abs(np.arange(k)[:, None] - np.arange(k)[None]).astype(float)
    if isinstance(weights, str):
        named = {"none": (apart > 0).astype(float), "linear": apart, "quadratic": apart**2}
        if weights not in named:
            raise ValueError(f'weights must be "none", "linear", "quadratic" or a table, not "{weights}"')
        v = named[weights]
    else:
        v = np.asarray(weights, dtype=float)
    if v.shape != (k, k) or np.diag(v).any() or (v < 0).any() or not v.any():
        raise ValueError(f"weights of disagreement must be ({k}, {k}), 0 on the diagonal and nowhere below 0")
    return np.asarray(v / v.max())


def _kappa(shares: Array, v: Array) -> Array:
    """Kappa of each table of shares (..., k, k)."""
    expected = np.einsum("...i,...j,ij->...", shares.sum(axis=-1), shares.sum(axis=-2), v)
    return np.asarray(1.0 - np.einsum("...ij,ij->...", shares, v) / expected)


def _standard_error(shares: Array, v: Array, n: float) -> float:
    """Fleiss, Cohen & Everitt 1969, with weights of agreement w = 1 - v."""
    w = 1.0 - v
    rows, columns = shares.sum(axis=1), shares.sum(axis=0)
    observed, expected = float((w * shares).sum()), float(rows @ w @ columns)
    mean = (w @ columns)[:, None] + (rows @ w)[None, :]
    inner = w * (1.0 - expected) - mean * (1.0 - observed)
    variance = (shares * inner**2).sum() - (observed * expected - 2.0 * expected + observed) ** 2
    return float(np.sqrt(max(variance, 0.0) / n) / (1.0 - expected) ** 2)

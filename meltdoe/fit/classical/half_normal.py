"""Effects of unreplicated two-level tables: which stand out from the rest, and whether the centre bends.

An effect is the mean at +1 minus the mean at -1, twice the coefficient. Where no run is repeated, the many small
effects stand in for the noise (Lenth 1989, Technometrics 31, 469-473):

    s0 = 1.5 median |effect|,   PSE = 1.5 median of those |effect| below 2.5 s0,
    margin = t(1 - a/2; m/3) PSE,   simultaneous margin = t((1 + level^(1/m)) / 2; m/3) PSE.

The method assumes that most effects are nothing; with fewer than about seven effects it has little to stand on.
Half-normal order: Daniel 1959, Technometrics 1, 311-341. (Formulae from memory, checked on published examples.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtr, stdtrit

from meltdoe.errors import Inestimable

__all__ = [
    "Curvature",
    "LenthResult",
    "TwoLevelEffects",
    "curvature",
    "half_normal_quantiles",
    "lenth",
    "two_level_effects",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class LenthResult:
    """Lenth's analysis of m effects.

    Attributes
    ----------
    effects : (m,) the effects as given.
    s0, pse : first and final pseudo standard error, in the units of the effects.
    df : m / 3, degrees of freedom of the t quantiles.
    margin : an effect beyond it stands out taken by itself.
    simultaneous_margin : an effect beyond it stands out even as the largest of m.
    level : level of both margins.
    """

    effects: Array
    s0: float
    pse: float
    df: float
    margin: float
    simultaneous_margin: float
    level: float

    @property
    def beyond_margin(self) -> NDArray[np.bool_]:
        """(m,) which effects stand out."""
        return np.asarray(np.abs(self.effects) > self.margin)

    @property
    def beyond_simultaneous_margin(self) -> NDArray[np.bool_]:
        """(m,) which effects stand out even as the largest of m."""
        return np.asarray(np.abs(self.effects) > self.simultaneous_margin)


@dataclass(frozen=True, slots=True, eq=False)
class TwoLevelEffects:
    """Effects of a two-level table.

    Attributes
    ----------
    terms : columns that make up each effect, counted from 0; (0, 1) is the product of the first two.
    effects : (m,) mean at +1 minus mean at -1 of each term.
    aliases : further terms whose column is the same, or the same with the sign turned, as that of `terms`.
    mean : mean of all runs.
    """

    terms: tuple[tuple[int, ...], ...]
    effects: Array
    aliases: tuple[tuple[tuple[int, ...], ...], ...]
    mean: float


@dataclass(frozen=True, slots=True)
class Curvature:
    """Mean of the corner runs minus mean of the centre runs, judged by the spread of the centre runs.

    Attributes
    ----------
    difference, se : in the outcome's unit.
    df : degrees of freedom, centre runs minus 1.
    t, p_value : two-sided test against no difference.
    low, high : limits at `level`.
    pure_error : standard deviation of the centre runs.
    """

    difference: float
    se: float
    df: int
    t: float
    p_value: float
    low: float
    high: float
    level: float
    pure_error: float


def lenth(effects: ArrayLike, level: float = 0.95) -> LenthResult:
    """Pseudo standard error and margins of unreplicated effects.

    Parameters
    ----------
    effects : (m,) effects (or contrasts of equal variance), m of 3 or more.
    level : level of the margins.

    Raises
    ------
    Inestimable : fewer than three effects.
    """
    values = np.asarray(effects, dtype=float).reshape(-1)
    m = values.size
    if m < 3:
        raise Inestimable(f"{m} effects are too few to judge noise by; Lenth's method wants at least 3")
    size = np.abs(values)
    s0 = 1.5 * float(np.median(size))
    small = size[size < 2.5 * s0]
    pse = 1.5 * float(np.median(small)) if small.size else 0.0
    df = m / 3.0
    return LenthResult(
        effects=values,
        s0=s0,
        pse=pse,
        df=df,
        margin=float(stdtrit(df, 0.5 + level / 2.0)) * pse,
        simultaneous_margin=float(stdtrit(df, 0.5 + level ** (1.0 / m) / 2.0)) * pse,
        level=level,
    )


def half_normal_quantiles(m: int) -> Array:
    """(m,) places on the half-normal axis for m absolute effects in rising order.

    Plotting positions (i - 1/2) / m: quantiles of |Z| at those probabilities.
    """
    return np.asarray(ndtri(0.5 + 0.5 * (np.arange(1, m + 1) - 0.5) / m))


def two_level_effects(table: ArrayLike, y: ArrayLike, order: int | None = None) -> TwoLevelEffects:
    """All effects that a two-level table can tell apart, main effects first.

    Parameters
    ----------
    table : (n, k) of -1 and +1; leave out centre runs.
    y : (n,) outcomes.
    order : most factors in a term; all of them where not given.

    Raises
    ------
    ValueError : entries other than -1 and +1.
    Inestimable : a main effect's column is constant or the same as an earlier one; its columns are named.
    """
    levels = np.asarray(table, dtype=float)
    outcome = np.asarray(y, dtype=float)
    if not np.all(np.abs(levels) == 1.0):
        raise ValueError("a two-level table holds only -1 and +1")
    n, k = levels.shape
    terms: list[tuple[int, ...]] = []
    columns: list[Array] = []
    aliases: list[list[tuple[int, ...]]] = []
    for size in range(1, (order or k) + 1):
        for term in combinations(range(k), size):
            column = levels[:, list(term)].prod(axis=1)
            overlap = [abs(int(column @ other)) for other in columns]
            if abs(column.sum()) == n or n in overlap:
                if size == 1:
                    raise Inestimable(f"column {term[0] + 1} says nothing that another does not", (str(term[0]),))
                if n in overlap:
                    aliases[overlap.index(n)].append(term)
                continue
            terms.append(term)
            columns.append(column)
            aliases.append([])
    up = np.array(columns) > 0
    effects = [float(outcome[u].mean() - outcome[~u].mean()) for u in up]
    return TwoLevelEffects(tuple(terms), np.array(effects), tuple(map(tuple, aliases)), float(outcome.mean()))


def curvature(corners: ArrayLike, centre: Sequence[float] | ArrayLike, level: float = 0.95) -> Curvature:
    """Whether the middle of the region lies off the plane through its corners.

    Parameters
    ----------
    corners : outcomes of the two-level runs.
    centre : outcomes of at least two centre runs.
    level : level of the limits.

    Raises
    ------
    Inestimable : fewer than two centre runs, or centre runs that agree to the last digit.
    """
    edge, middle = np.asarray(corners, dtype=float), np.asarray(centre, dtype=float)
    df = middle.size - 1
    if df < 1:
        raise Inestimable("a curvature check needs at least two centre runs")
    s = float(middle.std(ddof=1))
    if s == 0.0:
        raise Inestimable("the centre runs agree exactly, so they show no noise to judge curvature by")
    difference = float(edge.mean() - middle.mean())
    se = s * float(np.sqrt(1.0 / edge.size + 1.0 / middle.size))
    t = difference / se
    reach = float(stdtrit(df, 0.5 + level / 2.0)) * se
    p_value = 2.0 * float(stdtr(df, -abs(t)))
    return Curvature(difference, se, df, t, p_value, difference - reach, difference + reach, level, s)

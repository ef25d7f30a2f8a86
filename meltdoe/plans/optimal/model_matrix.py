"""From raw settings to model rows f(x) for design search: factors, terms as exponents, and moments of the region.

A raw table has one row a run and one column a factor: the coded value (-1..+1) of a continuous factor, the number of
the level (0, 1, ...) of a categorical one. A categorical factor with L levels stands for L - 1 orthonormal
sum-to-zero contrasts of mean square 1 over the levels; determinants depend on this coding.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import special

from meltdoe.series.coding import contrasts

__all__ = [
    "Categorical", "Continuous", "DesignFactor", "FloatArray", "Limit", "Model", "Term", "Terms", "feasible",
    "full_quadratic", "main_effects", "region_moments", "region_points", "two_factor_interactions",
]  # fmt: skip

FloatArray: TypeAlias = npt.NDArray[np.float64]
Term: TypeAlias = tuple[int, ...]
Terms: TypeAlias = Sequence[Term] | Callable[[FloatArray], FloatArray]
Limit: TypeAlias = Callable[[FloatArray], npt.NDArray[np.bool_]]

_MOST_QUADRATURE_POINTS = 20_000
_REGION_SAMPLE = 8192


@dataclass(frozen=True, slots=True)
class Continuous:
    """A factor set anywhere on -1..+1, or on the allowed coded `levels` only.

    Parameters
    ----------
    levels : allowed coded values, ascending; None for the whole interval.
    per_firing : True where all runs of a firing share the setting (hard to change).
    """

    levels: tuple[float, ...] | None = None
    per_firing: bool = False


@dataclass(frozen=True, slots=True)
class Categorical:
    """A factor with unordered levels 0, 1, ..., levels - 1.

    Parameters
    ----------
    levels : how many, at least 2.
    per_firing : True where all runs of a firing share the setting (hard to change).
    """

    levels: int
    per_firing: bool = False


DesignFactor: TypeAlias = Continuous | Categorical


class Model:
    """The expansion x -> f(x) for a list of factors and terms.

    Parameters
    ----------
    factors : the factors, in the order of the raw columns.
    terms : tuples of exponents, one exponent per factor, the constant being all zeros; or a function from a raw table
        (n, k) to model rows (n, p).

    Raises
    ------
    ValueError
        Where a term has the wrong length, a negative exponent, or a power of a categorical factor.
    """

    def __init__(self, factors: Sequence[DesignFactor], terms: Terms) -> None:
        self.factors = tuple(factors)
        self._check_factors()
        self._function = terms if callable(terms) else None
        self.terms: tuple[Term, ...] = () if callable(terms) else tuple(tuple(term) for term in terms)
        self._tables: list[FloatArray | None] = [
            contrasts(f.levels) if isinstance(f, Categorical) else None for f in self.factors
        ]
        if callable(terms):
            probe = np.asarray(terms(np.zeros((1, len(self.factors)))), dtype=float)
            self.width = probe.shape[1]
            self.names = tuple(f"column {i + 1}" for i in range(self.width))
        else:
            self._lay_out()

    def _check_factors(self) -> None:
        if not self.factors:
            raise ValueError("a design needs at least one factor")
        for i, factor in enumerate(self.factors):
            if isinstance(factor, Categorical) and factor.levels < 2:
                raise ValueError(f"factor {i + 1} needs at least two levels, got {factor.levels}")
            if isinstance(factor, Continuous) and factor.levels is not None:
                values = factor.levels
                if (
                    len(values) < 2
                    or list(values) != sorted(set(values))
                    or values[0] < -1 - 1e-9
                    or values[-1] > 1 + 1e-9
                ):
                    raise ValueError(f"levels of factor {i + 1} must ascend within -1..+1, got {values}")

    def _lay_out(self) -> None:
        """Write every column as a product of base columns: powers of amounts, contrasts of categorical factors."""
        if not self.terms:
            raise ValueError("a model needs at least one term")
        base: dict[tuple[int, int], int] = {}
        columns: list[tuple[int, ...]] = []
        names: list[str] = []
        for term in self.terms:
            if len(term) != len(self.factors) or min(term) < 0:
                raise ValueError(
                    f"term {term} needs one exponent of at least 0 for each of {len(self.factors)} factors"
                )
            choices: list[list[tuple[int, str]]] = []
            for i, exponent in enumerate(term):
                factor = self.factors[i]
                if exponent == 0:
                    continue
                if isinstance(factor, Categorical):
                    if exponent > 1:
                        raise ValueError(f"term {term} holds a power of the categorical factor {i + 1}")
                    parts = [
                        (base.setdefault((i, c), len(base) + 1), f"x{i + 1}[{c + 1}]") for c in range(factor.levels - 1)
                    ]
                else:
                    name = f"x{i + 1}" if exponent == 1 else f"x{i + 1}^{exponent}"
                    parts = [(base.setdefault((i, exponent), len(base) + 1), name)]
                choices.append(parts)
            for picked in product(*choices):
                columns.append(tuple(index for index, _ in picked))
                names.append("*".join(name for _, name in picked) or "constant")
        self.names = tuple(names)
        self.width = len(columns)
        depth = max(1, max(map(len, columns)))
        self._base = tuple(base)
        # base column 0 is ones: it pads products of fewer factors
        self._index = np.array([column + (0,) * (depth - len(column)) for column in columns])

    def rows(self, raw: FloatArray) -> FloatArray:
        """Model rows of raw settings, shape (..., k) to (..., p)."""
        if self._function is not None:
            flat = np.asarray(self._function(raw.reshape(-1, raw.shape[-1])), dtype=float)
            return flat.reshape(*raw.shape[:-1], self.width)
        base = np.empty((*raw.shape[:-1], len(self._base) + 1))
        base[..., 0] = 1.0
        for place, (i, which) in enumerate(self._base, start=1):
            table = self._tables[i]
            if table is None:
                base[..., place] = raw[..., i] if which == 1 else raw[..., i] ** which
            else:
                base[..., place] = table[:, which][np.rint(raw[..., i]).astype(np.int64)]
        found = base[..., self._index[:, 0]]
        for column in self._index.T[1:]:
            found *= base[..., column]
        return np.asarray(found)

    def highest_power(self, i: int) -> int:
        """Highest exponent of factor i; 2 where the terms are a function and nothing is known."""
        return 2 if self._function is not None else max(term[i] for term in self.terms)


def main_effects(factors: int) -> list[Term]:
    """Constant and main effects."""
    return [(0,) * factors, *(tuple(int(i == j) for i in range(factors)) for j in range(factors))]


def two_factor_interactions(factors: int) -> list[Term]:
    """Products of every two factors."""
    return [tuple(int(i in pair) for i in range(factors)) for pair in combinations(range(factors), 2)]


def full_quadratic(factors: Sequence[DesignFactor]) -> list[Term]:
    """Constant, main effects, all two-factor interactions, and the squares of continuous factors."""
    k = len(factors)
    squares = [tuple(2 * int(i == j) for i in range(k)) for j in range(k) if isinstance(factors[j], Continuous)]
    return main_effects(k) + two_factor_interactions(k) + squares


def feasible(limits: Sequence[Limit], raw: FloatArray) -> npt.NDArray[np.bool_]:
    """Which settings satisfy every limit, shape (..., k) to (...)."""
    flat = raw.reshape(-1, raw.shape[-1])
    good = np.ones(len(flat), dtype=bool)
    for limit in limits:
        good &= np.asarray(limit(flat), dtype=bool)
    return np.asarray(good.reshape(raw.shape[:-1]))


def region_points(model: Model, limits: Sequence[Limit] = ()) -> tuple[FloatArray, FloatArray]:
    """Points and weights that average any product of two model columns over the region.

    Continuous factors count over the whole of -1..+1 (uniform weight), categorical levels count equally. Without
    limits and with few factors, Gauss-Legendre products: exact. Otherwise 8192 points of an additive recurrence on
    powers of the generalised golden ratio (Roberts 2018, from memory), those outside the limits left out: about two
    digits.

    Returns
    -------
    (m, k) raw settings and (m,) weights that sum to 1.

    Raises
    ------
    ValueError
        Where no point satisfies the limits.
    """
    lines: list[tuple[FloatArray, FloatArray]] = []
    for i, factor in enumerate(model.factors):
        if isinstance(factor, Categorical):
            lines.append((np.arange(factor.levels, dtype=float), np.full(factor.levels, 1.0 / factor.levels)))
        else:
            nodes, weights = special.roots_legendre(model.highest_power(i) + 1)
            lines.append((np.asarray(nodes), np.asarray(weights) / 2.0))
    count = float(np.prod([float(len(nodes)) for nodes, _ in lines]))
    if not limits and model.terms and count <= _MOST_QUADRATURE_POINTS:
        points = np.stack(np.meshgrid(*[nodes for nodes, _ in lines], indexing="ij"), axis=-1)
        weight = np.ones(1)
        for _, weights in lines:
            weight = np.multiply.outer(weight, weights).ravel()
        return points.reshape(-1, len(lines)), weight
    k = len(model.factors)
    golden = 2.0
    for _ in range(60):  # fixed point of g^(k+1) = g + 1
        golden = (1.0 + golden) ** (1.0 / (k + 1))
    spread = (0.5 + np.outer(np.arange(1, _REGION_SAMPLE + 1), golden ** -np.arange(1.0, k + 1))) % 1.0
    raw = np.empty_like(spread)
    for i, factor in enumerate(model.factors):
        if isinstance(factor, Categorical):
            raw[:, i] = np.floor(spread[:, i] * factor.levels)
        else:
            raw[:, i] = 2.0 * spread[:, i] - 1.0
    raw = raw[feasible(limits, raw)]
    if not len(raw):
        raise ValueError("no setting within the ranges satisfies every limit")
    return raw, np.full(len(raw), 1.0 / len(raw))


def region_moments(model: Model, limits: Sequence[Limit] = ()) -> FloatArray:
    """Average of f(x) f(x)' over the region, shape (p, p); see `region_points`."""
    points, weights = region_points(model, limits)
    rows = model.rows(points)
    return np.asarray((rows * weights[:, None]).T @ rows)

"""What chemistry is asked for in a series, and what follows from it: quantities of the glass, beliefs, a ceiling.

Only how these look from the models. What they are worked out from stands in the rooms that know the glass, which
hand over a function of columns by factor name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Literal, TypeAlias

import numpy as np

from meltdoe.series.belief import Belief
from meltdoe.series.factor import FloatArray

__all__ = [
    "QUANTITIES", "Ceiling", "Chemistry", "ChemistryPrior", "Columns", "Derived", "Grid", "QuantityName",
]  # fmt: skip

QuantityName: TypeAlias = Literal["viscosity", "gas", "expansion"]
QUANTITIES: tuple[QuantityName, ...] = ("viscosity", "gas", "expansion")
"""Names that terms may use beside those of factors; no factor of a series with a recipe bears one."""

Columns: TypeAlias = Mapping[str, FloatArray]
"""Raw values by name of the factor, arrays of one length: amounts in their unit, options by position."""

Grid: TypeAlias = "list[str | list[str] | list[list[float]] | list[float]]"


@dataclass(frozen=True, slots=True)
class Chemistry:
    """What [chemistry] says.

    Parameters
    ----------
    pour, boil_over, crack : outcomes that are good where the glass pours, stays in the crucible and cools without a
        crack; empty where chemistry is not to speak about it.
    worth : melts' worth of evidence that chemistry is for each of these outcomes, where it is right.
    trust : chance before the first melt that it is right about an outcome, between 0 and 1; the melts change it. Worth
        and trust were chosen on the tuning half of `tests/benchmarks/chemistry_study.py`.
    use : False switches beliefs and ceiling off.
    stiffest : log10 Pa s at the pour beyond which nothing is proposed; None for a melt that never leaves a crucible.
    """

    pour: str = ""
    boil_over: str = ""
    crack: str = ""
    worth: float = 4.0
    trust: float = 0.1
    use: bool = True
    stiffest: float | None = None

    @property
    def outcomes(self) -> dict[QuantityName, str]:
        """Outcome by the quantity that speaks about it."""
        said: dict[QuantityName, str] = {"viscosity": self.pour, "gas": self.boil_over, "expansion": self.crack}
        return {quantity: outcome for quantity, outcome in said.items() if outcome}


@dataclass(frozen=True, slots=True)
class ChemistryPrior:
    """What chemistry expects before the first melt.

    Parameters
    ----------
    beliefs : in the form of the maker's own, which count only as far as chemistry is right.
    trust : chance that it is, for each outcome, before the first melt.
    notes : what the reader must know of them, one sentence each.
    """

    beliefs: tuple[Belief, ...] = ()
    notes: tuple[str, ...] = ()
    trust: float = 0.5


@dataclass(frozen=True, slots=True)
class Derived:
    """A quantity of the glass that a model may use in place of the factors that it comes from.

    Parameters
    ----------
    factors, amounts : names of the factors that it depends on, and of the amounts among them.
    low, high : over the planned region; coded -1 and +1.
    least, most : raw values by factor at which they are reached.
    calculate : its value from columns that may hold more factors than are needed.
    grid_axes : raw values by factor, on which `grid` is worked out.
    """

    name: QuantityName
    unit: str
    factors: tuple[str, ...]
    amounts: tuple[str, ...]
    low: float
    high: float
    least: Mapping[str, float]
    most: Mapping[str, float]
    grid_axes: tuple[tuple[float, ...], ...]
    calculate: Callable[[Columns], FloatArray] = field(compare=False, repr=False)

    def coded(self, columns: Columns) -> FloatArray:
        """-1 at the lowest value of the planned region, +1 at the highest."""
        return np.asarray(2.0 * (self.calculate(columns) - self.low) / (self.high - self.low) - 1.0)

    def show(self, value: float) -> str:
        """A value with its unit, for people."""
        return f"10^{value:.1f} {self.unit}" if self.name == "viscosity" else f"{value:.0f} {self.unit}"

    @property
    def grid(self) -> Grid:
        """The same as plain lists, for readers in other languages that go straight from point to point."""
        return grid_of(self.factors, self.grid_axes, self.calculate)


@dataclass(frozen=True, slots=True)
class Ceiling:
    """Stands where a limit has its comparison: a quantity must not exceed `most`.

    Parameters
    ----------
    quantity : its value, less what is granted to the doubt of the model.
    factors, names : factors that it depends on, and the amounts among them, which can be moved to keep it.
    """

    quantity: Callable[[Columns], FloatArray] = field(compare=False, repr=False)
    most: float
    factors: tuple[str, ...]
    names: frozenset[str]
    grid_axes: tuple[tuple[float, ...], ...]

    def margin(self, columns: Columns) -> FloatArray:
        """By how much it holds, elementwise."""
        return np.asarray(self.most - self.quantity(columns))

    def holds(self, columns: Columns) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Whether it holds, elementwise."""
        return np.asarray(self.margin(columns) >= -1e-9)

    @property
    def nested(self) -> list[object]:
        """As `Comparison.nested`, the quantity as a grid."""
        return ["<=", grid_of(self.factors, self.grid_axes, self.quantity), self.most]


def grid_of(
    factors: Sequence[str], axes: Sequence[Sequence[float]], calculate: Callable[[Columns], FloatArray]
) -> Grid:
    """["grid", names, axes, values], the last factor changing fastest."""
    points = np.array(list(product(*axes)), dtype=float)
    values = calculate({name: points[:, i] for i, name in enumerate(factors)})
    return ["grid", list(factors), [list(axis) for axis in axes], [float(f"{value:.7g}") for value in values]]

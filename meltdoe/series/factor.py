"""What is set: amounts, choices and ordered factors, and at which level of the work they are set.

A *raw* value is how the numerical rooms see a setting: the number itself for an amount, the position in the list
of options (0, 1, ...) for a choice or an ordered factor. `meltdoe.series.coding` turns raw values into coded ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

__all__ = ["Amount", "Choice", "Factor", "FloatArray", "Ordered", "SetPer", "Setting"]

FloatArray: TypeAlias = npt.NDArray[np.float64]
SetPer: TypeAlias = Literal["firing", "melt", "mould"]
Setting: TypeAlias = float | str
Scale: TypeAlias = Literal["linear", "log"]


@dataclass(frozen=True, slots=True)
class Amount:
    """A continuous factor, set on steps between low and high.

    Parameters
    ----------
    low, high : ends of the planned range, in `unit`; coded -1 and +1.
    step : smallest useful change, in `unit`; None where any value can be set.
    scale : "log" codes the logarithm, so that doubling counts the same everywhere (hold times).
    earlier : its value, in `unit`, in melts made before it was a factor; None where it always was one.
    """

    name: str
    low: float
    high: float
    label: str = ""
    unit: str = ""
    step: float | None = None
    scale: Scale = "linear"
    set_per: SetPer = "melt"
    earlier: float | None = None

    @property
    def kind(self) -> str:
        return "amount"

    @property
    def title(self) -> str:
        """The label, or the name where no label is given."""
        return self.label or self.name

    def coded(self, raw: FloatArray) -> FloatArray:
        """Natural units to -1..+1 (beyond it where a setting lies outside the planned range)."""
        low, high = self._scaled(np.asarray([self.low, self.high]))
        return np.asarray(2.0 * (self._scaled(raw) - low) / (high - low) - 1.0)

    def decoded(self, coded: FloatArray) -> FloatArray:
        """-1..+1 to natural units; the inverse of `coded`."""
        low, high = self._scaled(np.asarray([self.low, self.high]))
        scaled = low + (np.asarray(coded, dtype=float) + 1.0) / 2.0 * (high - low)
        return np.asarray(np.exp(scaled) if self.scale == "log" else scaled)

    def _scaled(self, raw: FloatArray) -> FloatArray:
        values = np.asarray(raw, dtype=float)
        return np.asarray(np.log(values)) if self.scale == "log" else values

    def grid(self, most: int | None = None) -> FloatArray:
        """The values that can be set, ascending: low, low + step, ..., high (an odd end is kept).

        With `most`, an evenly thinned subset that keeps both ends; without a step, `most` (or 21) even values.
        """
        if self.step is None:
            return np.unique(self._written(self.decoded(np.linspace(-1.0, 1.0, most or 21))))
        count = math.floor((self.high - self.low) / self.step + 1e-9)
        values = self.low + self.step * np.arange(count + 1)
        if self.high - values[-1] > 1e-9 * max(1.0, abs(self.high)):
            values = np.append(values, self.high)
        if most is not None and len(values) > most:
            values = values[np.unique(np.rint(np.linspace(0, len(values) - 1, most)).astype(int))]
        return np.asarray(np.round(values, 10))

    def snap(self, raw: FloatArray) -> FloatArray:
        """The nearest value on the steps, within the range."""
        values: FloatArray = np.clip(np.asarray(raw, dtype=float), self.low, self.high)
        if self.step is None:
            return self._written(values)
        grid = self.grid()
        return np.asarray(grid[np.abs(values[..., None] - grid).argmin(axis=-1)])

    def _written(self, raw: FloatArray) -> FloatArray:
        """Rounded to what can be written down without a step: about a ten-thousandth of the range."""
        digits = 4 - math.ceil(math.log10(self.high - self.low))
        return np.asarray(np.clip(np.round(raw, digits), self.low, self.high))

    def show(self, raw: float) -> str:
        """For people: the value with its unit."""
        return f"{raw:g} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class _Listed:
    """A factor with options.

    Parameters
    ----------
    earlier : its option in melts made before it was a factor; None where it always was one.
    gone : options that can no longer be had. Melts made with them still count; none is proposed again.
    """

    name: str
    options: tuple[str, ...]
    label: str = ""
    set_per: SetPer = "melt"
    earlier: str | None = None
    gone: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """The label, or the name where no label is given."""
        return self.label or self.name

    def grid(self, most: int | None = None) -> FloatArray:
        """Positions of all options; `most` never thins a list of options."""
        del most
        return np.arange(len(self.options), dtype=float)

    def snap(self, raw: FloatArray) -> FloatArray:
        """The nearest option's position."""
        positions: FloatArray = np.clip(np.rint(np.asarray(raw, dtype=float)), 0, len(self.options) - 1)
        return positions

    def show(self, raw: float) -> str:
        """For people: the option's own word."""
        return self.options[round(raw)]


@dataclass(frozen=True, slots=True)
class Choice(_Listed):
    """An unordered factor: kinds of flux, ways of packing."""

    @property
    def kind(self) -> str:
        return "choice"


@dataclass(frozen=True, slots=True)
class Ordered(_Listed):
    """An ordered factor: options from least to most, coded at even distances from -1 to +1."""

    @property
    def kind(self) -> str:
        return "ordered"

    def coded(self, raw: FloatArray) -> FloatArray:
        """Positions to even scores -1..+1."""
        return np.asarray(2.0 * np.asarray(raw, dtype=float) / (len(self.options) - 1) - 1.0)


Factor: TypeAlias = Amount | Choice | Ordered

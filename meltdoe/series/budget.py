"""What the series may take: budget, kiln and prices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from meltdoe.units import Quantity

__all__ = ["USUAL_SERIES", "Budget", "Costs", "Kiln"]

USUAL_SERIES = 14  # melts of a series that says nothing of its budget (common practice in a small workshop, no source)


@dataclass(frozen=True, slots=True)
class Budget:
    """All optional; whatever is given is respected."""

    melts: int | None = None
    firings: int | None = None
    money: float | None = None
    currency: str = ""


@dataclass(frozen=True, slots=True)
class Kiln:
    """How many melts one firing holds, and the kiln's ceiling."""

    melts_per_firing: int = 1
    max_temperature: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Costs:
    """Price of a melt and of a firing, and what a bad outcome costs on top, by outcome name."""

    melt: float = 0.0
    firing: float = 0.0
    loss: Mapping[str, float] = field(default_factory=dict)

    @property
    def known(self) -> bool:
        """Whether any price was given."""
        return self.melt > 0 or self.firing > 0 or any(self.loss.values())

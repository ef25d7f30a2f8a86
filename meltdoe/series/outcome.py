"""What is seen: pass, grade and measured outcomes, their order in the work, and the states of an outcome cell."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import Enum
from typing import Literal, TypeAlias

from meltdoe.units import canonical, parse_quantity

__all__ = ["GoodRange", "Outcome", "Seen", "SeenValue", "Unseen", "parse_good_range"]

OutcomeKind: TypeAlias = Literal["pass", "grade", "measured"]


class Unseen(Enum):
    """Why an outcome cell holds no value. The three are kept apart through analysis and report."""

    NOT_REACHED = ""  # the melt never got that far
    LATER = "later"  # not known yet: a crack may show in a month
    LOST = "lost"  # it got there, nobody looked


SeenValue: TypeAlias = bool | str | float  # pass: bool; grade: its word; measured: number in the outcome's unit
Seen: TypeAlias = SeenValue | Unseen


@dataclass(frozen=True, slots=True)
class GoodRange:
    """Measured values that count as good: low <= value <= high, in the outcome's unit."""

    low: float = -math.inf
    high: float = math.inf

    def __contains__(self, value: object) -> bool:
        return isinstance(value, (int, float)) and self.low <= value <= self.high

    def __str__(self) -> str:
        if math.isinf(self.high):
            return f"at least {self.low:g}"
        if math.isinf(self.low):
            return f"at most {self.high:g}"
        return f"between {self.low:g} and {self.high:g}"


_FORM = re.compile(
    r"(?:(?P<side>at least|at most) (?P<one>\S.*)|between (?P<low>\S.*) and (?P<high>\S.*))\Z", re.IGNORECASE
)


def parse_good_range(text: str, unit: str = "") -> GoodRange:
    """Read "at least 95", "at most 3" or "between 10 and 20"; numbers are in `unit` or carry their own.

    Raises
    ------
    ValueError
        Where the text has none of these forms, a unit does not fit, or the range runs from high to low.
    """
    match = _FORM.match(" ".join(text.split()))
    if match is None:
        raise ValueError(f'"{text}" is not of the form "at least 95", "at most 3" or "between 10 and 20"')

    def number(part: str) -> float:
        quantity = parse_quantity(part, unit)
        return quantity.value if quantity.unit == canonical(unit) else float(f"{quantity.in_unit(unit):.10g}")

    if match["side"]:
        one = number(match["one"])
        return GoodRange(low=one) if match["side"].lower() == "at least" else GoodRange(high=one)
    low, high = number(match["low"]), number(match["high"])
    if low > high:
        raise ValueError(f'"{text}" runs from high to low')
    return GoodRange(low, high)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One thing that is looked at, standing in the order of the work.

    Parameters
    ----------
    kind : "pass" (yes or no), "grade" (one of `grades`, best first) or "measured" (a number in `unit`).
    after : the outcome that must have been good for this one to exist, or None.
    good : for grades the good words, for measurements the good range; None for an outcome that is only described.
        A pass outcome is good when it is yes.
    bounds : smallest and largest possible measurement; values on a bound are censored there.
    seen_per : whether one value is seen for the whole melt or for each mould.
    """

    name: str
    kind: OutcomeKind
    question: str = ""
    unit: str = ""
    grades: tuple[str, ...] = ()
    bounds: tuple[float, float] | None = None
    after: str | None = None
    good: GoodRange | tuple[str, ...] | None = None
    seen_per: Literal["melt", "mould"] = "melt"

    @property
    def title(self) -> str:
        """The question, or the name where no question is given."""
        return self.question or self.name

    @property
    def counts(self) -> bool:
        """Whether this outcome enters success (it has a meaning of good)."""
        return self.kind == "pass" or self.good is not None

    @property
    def words(self) -> tuple[str, ...]:
        """What may be answered, the best first; empty for a number."""
        return ("yes", "no") if self.kind == "pass" else self.grades

    @property
    def good_words(self) -> str:
        """What counts as good: "yes", "none or hairline", "at least 95 %"; empty where it is only described."""
        if self.kind == "pass":
            return "yes"
        if isinstance(self.good, tuple):
            return " or ".join(self.good)
        return f"{self.good} {self.unit}".strip() if self.good is not None else ""

    def is_good(self, seen: Seen) -> bool | None:
        """Whether what was seen is good; None where nothing was seen or good has no meaning."""
        if isinstance(seen, Unseen) or not self.counts:
            return None
        if self.kind == "pass":
            return bool(seen)
        return self.good is not None and seen in self.good

    def show(self, seen: Seen) -> str:
        """For people and for the log: yes, no, the grade, the number; or the word for what was not seen."""
        if isinstance(seen, Unseen):
            return seen.value
        if self.kind == "pass":
            return "yes" if seen else "no"
        return f"{seen:g}" if isinstance(seen, float) else str(seen)

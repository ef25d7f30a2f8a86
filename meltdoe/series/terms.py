"""Model terms as plain algebra: ``flux`` (main), ``flux * peak`` (cross), ``peak ^ 2`` (square)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from meltdoe.series.factor import Amount, Factor

__all__ = ["Term", "cross_terms", "main_terms", "parse_term", "square_terms"]

_PART = re.compile(r"\s*([^\W\d]\w*)\s*(?:\^\s*(\d+)\s*)?\Z")


@dataclass(frozen=True, slots=True)
class Term:
    """A product of powers of factors; `powers` is sorted by name."""

    powers: tuple[tuple[str, int], ...]

    @property
    def order(self) -> int:
        """Sum of the powers: 1 for a main effect, 2 for an interaction or a square."""
        return sum(power for _, power in self.powers)

    @property
    def factors(self) -> tuple[str, ...]:
        return tuple(name for name, _ in self.powers)

    def parents(self) -> tuple[Term, ...]:
        """The terms of one order less that stand inside it (for heredity)."""
        found = []
        for name, power in self.powers:
            rest = dict(self.powers)
            rest[name] = power - 1
            left = tuple(sorted((n, p) for n, p in rest.items() if p > 0))
            if left:
                found.append(Term(left))
        return tuple(dict.fromkeys(found))

    def __str__(self) -> str:
        return " * ".join(name if power == 1 else f"{name} ^ {power}" for name, power in self.powers)


def parse_term(text: str) -> Term:
    """Read a product of factor names with whole-number powers.

    Raises
    ------
    ValueError
        Where the text has another form.
    """
    powers: dict[str, int] = {}
    for part in text.split("*"):
        match = _PART.match(part)
        if match is None:
            raise ValueError(f'"{text}" is no product of factor names such as "flux", "flux * peak" or "peak ^ 2"')
        powers[match.group(1)] = powers.get(match.group(1), 0) + int(match.group(2) or 1)
    if any(power < 1 for power in powers.values()) or sum(powers.values()) > 4:
        raise ValueError(f'"{text}" has a power that is not usable; the powers of a term sum to between 1 and 4')
    return Term(tuple(sorted(powers.items())))


def main_terms(factors: Sequence[Factor]) -> tuple[Term, ...]:
    """One main effect per factor, in the order of the factors."""
    return tuple(Term(((factor.name, 1),)) for factor in factors)


def cross_terms(factors: Sequence[Factor]) -> tuple[Term, ...]:
    """All two-factor interactions."""
    names = [factor.name for factor in factors]
    return tuple(
        Term(tuple(sorted(((first, 1), (second, 1))))) for i, first in enumerate(names) for second in names[i + 1 :]
    )


def square_terms(factors: Sequence[Factor]) -> tuple[Term, ...]:
    """Squares of the amounts."""
    return tuple(Term(((factor.name, 2),)) for factor in factors if isinstance(factor, Amount))

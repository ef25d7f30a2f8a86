"""Regular two-level fractions: generators, words, resolution and what is mixed up with what.

Written by products of factors: with the generator D=AB the column of D equals the product of those of A and B, so the
main effect of D cannot be told apart from the interaction of A and B. All sets of factors whose product is constant are
the words; the shortest gives the resolution (Box and Hunter 1961, Technometrics 3). `fraction` finds the least mixed-up
fraction by search, see `meltdoe.plans.fractions.minimum_aberration`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np
import numpy.typing as npt

from meltdoe.plans.fractions import minimum_aberration
from meltdoe.plans.fractions.clear_interactions import column_sets, keeping_clear

__all__ = ["Fraction", "factor_letters", "fraction", "fraction_from_generators"]

FloatArray = npt.NDArray[np.float64]

# I is left out: in this notation it stands for the column of ones
_LETTERS = "ABCDEFGHJKLMNOP"
_MOST_FACTORS = len(_LETTERS)
_RUNS = (4, 8, 16, 32, 64, 128)


@dataclass(frozen=True, eq=False)
class Fraction:
    """A full factorial or regular fraction in two levels, in standard order (first factor changes fastest).

    Parameters
    ----------
    factors : names, in the order of the columns of `table`.
    runs : number of runs, 2^r.
    columns : per factor, the r-bit number of the basic factors whose product it is; basic factors are 1, 2, 4, ...
    """

    factors: tuple[str, ...]
    runs: int
    columns: tuple[int, ...]

    @cached_property
    def table(self) -> FloatArray:
        """Settings -1/+1, shape (runs, n_factors)."""
        # high where an even number of the basic factors is low, so that D=AB is high where A = B
        low = (self.runs - 1) ^ np.arange(self.runs)
        return np.asarray(1.0 - 2.0 * minimum_aberration.column_parity(self.runs)[low][:, list(self.columns)])

    @cached_property
    def basic(self) -> tuple[int, ...]:
        """Positions of the basic factors, those that no generator defines, by the bit that stands for each."""
        return tuple(self.columns.index(1 << bit) for bit in range(self.runs.bit_length() - 1))

    def _product(self, column: int) -> tuple[int, ...]:
        """Positions of the basic factors that make a column."""
        return tuple(self.basic[bit] for bit in range(column.bit_length()) if column >> bit & 1)

    @cached_property
    def generators(self) -> tuple[str, ...]:
        """One per added factor, for example ``"D=AB"``; empty for a full factorial."""
        sign = "=" if self._short else " = "
        return tuple(
            f"{self.factors[i]}{sign}{self.word(self._product(column))}"
            for i, column in enumerate(self.columns)
            if i not in self.basic
        )

    @cached_property
    def _word_sets(self) -> tuple[tuple[int, ...], ...]:
        """Positions of the factors of each word, shortest first."""
        added = [i for i in range(len(self.factors)) if i not in self.basic]
        masks = [0]
        for i in added:
            parts = sum(1 << position for position in self._product(self.columns[i]))
            masks += [mask ^ parts ^ (1 << i) for mask in masks]
        sets = (tuple(i for i in range(len(self.factors)) if mask >> i & 1) for mask in masks[1:])
        return tuple(sorted(sets, key=lambda members: (len(members), members)))

    @cached_property
    def words(self) -> tuple[str, ...]:
        """The defining relation: every set of factors whose product is constant, shortest first."""
        return tuple(self.word(members) for members in self._word_sets)

    @cached_property
    def word_lengths(self) -> tuple[int, ...]:
        """(A3, A4, ..., Ak): number of words of each length from 3 on."""
        return minimum_aberration.word_length_pattern(self.columns, self.runs)

    @property
    def resolution(self) -> int | None:
        """Length of the shortest word; None for a full factorial, which has none."""
        return len(self._word_sets[0]) if self._word_sets else None

    def aliases(self, order: int = 2) -> Mapping[str, tuple[str, ...]]:
        """What each effect of up to `order` factors is mixed up with, among effects of up to `order` factors.

        Returns
        -------
        Mapping
            One entry per main effect and interaction, in order of length; the aliases in the same order.
        """
        strings: dict[int, list[str]] = {}
        place: dict[str, int] = {}
        for size in range(1, order + 1):
            for members in combinations(range(len(self.factors)), size):
                product = 0
                for i in members:
                    product ^= self.columns[i]
                name = self.word(members)
                place[name] = product
                strings.setdefault(product, []).append(name)
        return {name: tuple(other for other in strings[product] if other != name) for name, product in place.items()}

    @cached_property
    def clear_two_factor_interactions(self) -> tuple[str, ...]:
        """Interactions mixed up with no main effect and no other two-factor interaction."""
        return tuple(self.word(pair) for pair in minimum_aberration.clear_pairs(self.columns))

    def word(self, members: Iterable[int]) -> str:
        """Factors as a product: ``"ABD"``, or ``"flux * peak"`` where names are longer than one letter."""
        return ("" if self._short else " * ").join(self.factors[i] for i in sorted(members))

    @property
    def _short(self) -> bool:
        return all(len(name) == 1 for name in self.factors)


def factor_letters(count: int) -> tuple[str, ...]:
    """A, B, C, ... without I; at most 15.

    Raises
    ------
    ValueError
        For more factors than that or fewer than one.
    """
    if not 1 <= count <= _MOST_FACTORS:
        raise ValueError(f"two-level fractions are drawn up for 2 to {_MOST_FACTORS} factors, not {count}")
    return tuple(_LETTERS[:count])


def fraction(factors: int | Sequence[str], runs: int, *, clear: Iterable[Sequence[str]] = ()) -> Fraction:
    """The regular two-level fraction of minimum aberration, or the full factorial where runs = 2^k.

    Parameters
    ----------
    factors : how many (named A, B, C, ...) or their names; 2 to 15.
    runs : 4, 8, 16, 32, 64 or 128.
    clear : pairs of factors, ``("A", "C")`` or ``"AC"``, whose interaction must be mixed up with no main effect and no
        other two-factor interaction. Aberration then is least among the fractions that keep them so: of all where they
        are few enough to be tried (16 runs; 32 to 10 factors; 64 to 9), else of those found.

    Raises
    ------
    ValueError
        Where no such fraction exists, or none that keeps `clear` does or was found; says which.

    Notes
    -----
    Minimum aberration: Fries and Hunter (1980), Technometrics 22, 601-608. Found by a seeded search and not proven for
    each case; it attains the catalogue of Chen, Sun and Wu (1993), as far as that is known to the tests. Among equals
    the one with most clear two-factor interactions is taken.
    """
    names = factor_letters(factors) if isinstance(factors, int) else tuple(factors)
    _refuse(names, runs)
    pairs = _pairs(names, clear)
    if 2 ** len(names) == runs or not pairs:
        return Fraction(names, runs, _searched(len(names), runs))
    columns, all_tried = _searched_clear(len(names), runs, pairs)
    if columns is None:
        said = " and ".join(f"{names[i]} * {names[j]}" for i, j in pairs)
        what = f"fraction of {len(names)} factors in {runs} runs"
        found = f"there is no {what} that" if all_tried else f"no {what} was found that"
        tried = " (all were tried)" if all_tried else ""
        raise ValueError(f"{found} keeps {said} clear of other effects{tried}; ask for fewer, or take {2 * runs} runs")
    return Fraction(names, runs, columns)


@lru_cache(maxsize=128)
def _searched(k: int, runs: int) -> tuple[int, ...]:
    return tuple(minimum_aberration.search(k, runs))


@lru_cache(maxsize=128)
def _searched_clear(k: int, runs: int, pairs: tuple[tuple[int, int], ...]) -> tuple[tuple[int, ...] | None, bool]:
    """Columns that keep pairs clear, or None; and whether every fraction was tried."""
    # main effects and clear interactions each need a column of their own
    if k + len(pairs) > runs - 1:
        return None, True
    sets = column_sets(0, k, runs, 0)
    if sets is not None:
        found = keeping_clear(sets, runs, 0, pairs)
        return (None if found is None else tuple(minimum_aberration.in_first_independent(found))), True
    columns = minimum_aberration.search_clear(k, runs, pairs)
    return (None if columns is None else tuple(columns)), False


def _refuse(names: tuple[str, ...], runs: int) -> None:
    """Say plainly why a fraction cannot be drawn up."""
    k = len(names)
    if not 2 <= k <= _MOST_FACTORS:
        raise ValueError(f"two-level fractions are drawn up for 2 to {_MOST_FACTORS} factors, not {k}")
    if len(set(names)) != k:
        raise ValueError(f"factor names must differ, got {', '.join(names)}")
    if runs not in _RUNS:
        raise ValueError(f"a two-level fraction has {', '.join(map(str, _RUNS[:-1]))} or {_RUNS[-1]} runs, not {runs}")
    if runs > 2**k:
        raise ValueError(f"{k} factors have only {2**k} combinations, fewer than {runs} runs; repeat runs instead")
    if k > runs - 1:
        raise ValueError(f"{runs} runs hold at most {runs - 1} two-level factors, not {k}; take {2 * runs} runs")


def _pairs(names: tuple[str, ...], clear: Iterable[Sequence[str]]) -> tuple[tuple[int, int], ...]:
    found = set()
    for pair in clear:
        unknown = [name for name in pair if name not in names]
        if unknown or len(set(pair)) != 2 or len(pair) != 2:
            raise ValueError(f"{pair!r} is no pair of the factors {', '.join(names)}")
        i, j = sorted(names.index(name) for name in pair)
        found.add((i, j))
    return tuple(sorted(found))


def fraction_from_generators(factors: Sequence[str], generators: Iterable[str]) -> Fraction:
    """A fraction by its generators, ``"D=AB"`` for one-letter names or ``"soak = flux * peak"``.

    Factors without a generator are basic, and runs = 2^basic.

    Raises
    ------
    ValueError
        For unknown names, a factor generated twice or by itself, or two factors with the same column.
    """
    names = tuple(str(name) for name in factors)
    defined: dict[str, list[str]] = {}
    for text in generators:
        left, _, right = (part.strip() for part in text.partition("="))
        parts = (
            [part.strip() for part in right.split("*")]
            if "*" in right
            else ([right] if right in names else list(right))
        )
        unknown = [name for name in [left, *parts] if name not in names]
        if unknown or not re.search(r"=\s*\S", text):
            raise ValueError(f'"{text}" is no generator of the factors {", ".join(names)}; write for example "D=AB"')
        if left in defined:
            raise ValueError(f"{left} has two generators")
        defined[left] = parts
    basic = [name for name in names if name not in defined]
    bits = {name: 1 << i for i, name in enumerate(basic)}
    for name, parts in defined.items():
        if any(part in defined for part in parts):
            raise ValueError(f"the generator of {name} must hold basic factors only: {', '.join(basic)}")
    columns = []
    for name in names:
        column = 0
        for part in defined.get(name, [name]):
            column ^= bits[part]
        columns.append(column)
    if len(set(columns)) != len(names) or 0 in columns:
        raise ValueError("two factors would have the same column, or one would never change")
    return Fraction(names, 2 ** len(basic), tuple(columns))

"""The one coder and decoder: raw settings to the columns of a model matrix.

Amounts run -1..+1 between low and high (after the scale). Ordered factors take even scores -1..+1. A choice with L
options takes L - 1 orthonormal sum-to-zero contrasts (Helmert type), scaled so that each column has mean square 1
over the options; with two options that is -1/+1, and every option is treated alike by an isotropic prior. A quantity of
the glass runs -1..+1 between its ends over the planned region.

A setting that nobody knows any more (NaN) stands as the average of its columns over the planned range, each option and
each coded value as likely as another: regression calibration (Carroll, Ruppert, Stefanski & Crainiceanu 2006,
Measurement Error in Nonlinear Models, 2nd ed., ch. 4, from memory). Such a melt says nothing of that factor's effect
and all it can of the others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from meltdoe.series.chemistry import Derived
from meltdoe.series.factor import Amount, Choice, Factor, FloatArray
from meltdoe.series.terms import Term

__all__ = ["Coding", "contrasts"]


def contrasts(options: int) -> FloatArray:
    """Orthonormal sum-to-zero contrasts, shape (options, options - 1), each column of mean square 1."""
    helmert = np.zeros((options, options - 1))
    for column in range(options - 1):
        helmert[: column + 1, column] = -1.0
        helmert[column + 1, column] = column + 1.0
    return np.asarray(helmert * np.sqrt(options / (helmert**2).sum(axis=0)))


@dataclass(frozen=True)
class Coding:
    """How the raw settings of a list of factors become columns of a model matrix.

    Parameters
    ----------
    factors : the factors, in the order of the raw columns.
    derived : quantities of the glass that terms may name beside factors.
    """

    factors: tuple[Factor, ...]
    derived: tuple[Derived, ...] = ()
    _index: dict[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_index", {factor.name: i for i, factor in enumerate(self.factors)})

    @cached_property
    def names(self) -> tuple[str, ...]:
        return tuple(factor.name for factor in self.factors)

    def factor_columns(self, name: str, raw: FloatArray, power: int = 1) -> FloatArray:
        """Coded columns of one factor or quantity to a power, shape (n_melts, 1) or (n_melts, options - 1)."""
        table = np.atleast_2d(np.asarray(raw, dtype=float))
        quantity = self._quantity(name)
        needed = [self._index[one] for one in (quantity.factors if quantity else (name,))]
        known = np.isfinite(table[:, needed]).all(axis=1)
        if known.all():
            return self._known_columns(name, quantity, table) ** power
        found = np.empty((len(table), self.width(Term(((name, 1),)))))
        found[known] = self._known_columns(name, quantity, table[known]) ** power
        for i in np.flatnonzero(~known):
            filled, weights = self._filled_in(table[i], needed)
            found[i] = weights @ self._known_columns(name, quantity, filled) ** power
        return found

    def _known_columns(self, name: str, quantity: Derived | None, table: FloatArray) -> FloatArray:
        if quantity is not None:
            return quantity.coded({factor.name: table[:, i] for i, factor in enumerate(self.factors)})[:, None]
        factor = self.factors[self._index[name]]
        values = table[:, self._index[name]]
        if isinstance(factor, Choice):
            return np.asarray(contrasts(len(factor.options))[np.rint(values).astype(int)])
        return factor.coded(values)[:, None]

    def _filled_in(self, row: FloatArray, needed: Sequence[int]) -> tuple[FloatArray, FloatArray]:
        """A row with its unknown settings at all their options, or at the three nodes of Gauss and Legendre.

        Three nodes are exact for powers up to the fifth. Returns rows (n, n_factors) and their weights (n,).
        """
        nodes, node_weights = np.polynomial.legendre.leggauss(3)
        rows, weights = row[None, :].copy(), np.ones(1)
        for i in needed:
            if np.isfinite(row[i]):
                continue
            factor = self.factors[i]
            if isinstance(factor, Amount):
                values, each = factor.decoded(nodes), node_weights / 2.0
            else:
                values, each = np.arange(len(factor.options), dtype=float), np.full(len(factor.options), 1.0)
                each /= len(each)
            weights = (weights[:, None] * each).ravel()
            rows = np.repeat(rows, len(values), axis=0)
            rows[:, i] = np.tile(values, len(rows) // len(values))
        return rows, weights

    def _quantity(self, name: str) -> Derived | None:
        return next((one for one in self.derived if one.name == name), None)

    def term_columns(self, term: Term, raw: FloatArray) -> FloatArray:
        """Coded columns of one term: all products of the columns of its factors, shape (n_melts, width)."""
        coded = {(name, power): self.factor_columns(name, raw, power) for name, power in term.powers}
        return self._products(term, coded, len(np.atleast_2d(raw)))

    @staticmethod
    def _products(term: Term, coded: Mapping[tuple[str, int], FloatArray], rows: int) -> FloatArray:
        product: FloatArray | None = None
        for part in term.powers:
            columns = coded[part]
            if product is None:
                product = columns
            elif product.shape[1] == columns.shape[1] == 1:
                product = product * columns
            else:
                product = (product[:, :, None] * columns[:, None, :]).reshape(rows, product.shape[1] * columns.shape[1])
        return np.ones((rows, 1)) if product is None else product

    def width(self, term: Term) -> int:
        """How many columns a term takes."""
        factors = (self.factors[self._index[name]] for name in term.factors if name in self._index)
        return int(np.prod([len(f.options) - 1 if isinstance(f, Choice) else 1 for f in factors], dtype=int))

    def matrix(self, terms: Sequence[Term], raw: FloatArray) -> FloatArray:
        """Model matrix with a leading column of ones, shape (n_melts, 1 + sum of widths)."""
        rows = np.atleast_2d(np.asarray(raw, dtype=float))
        parts = dict.fromkeys(part for term in terms for part in term.powers)
        coded = {part: self.factor_columns(part[0], rows, part[1]) for part in parts}  # once each
        return np.column_stack([np.ones(len(rows)), *(self._products(term, coded, len(rows)) for term in terms)])

    def column_terms(self, terms: Sequence[Term]) -> tuple[Term | None, ...]:
        """The term that each column of `matrix` belongs to; None for the column of ones."""
        return (None, *(term for term in terms for _ in range(self.width(term))))

    def column_names(self, terms: Sequence[Term]) -> tuple[str, ...]:
        """A name per column of `matrix`; a choice's contrasts are numbered."""
        names = ["constant"]
        for term in terms:
            width = self.width(term)
            names += [str(term)] if width == 1 else [f"{term} [{i + 1}]" for i in range(width)]
        return tuple(names)

    def centre(self) -> FloatArray:
        """Raw settings of the middle: coded 0 for amounts, the middle option otherwise; shape (n_factors,)."""
        return np.array(
            [
                float(f.decoded(np.zeros(1))[0]) if isinstance(f, Amount) else float((len(f.options) - 1) // 2)
                for f in self.factors
            ]
        )

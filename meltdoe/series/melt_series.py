"""The whole question: a `MeltSeries` holds everything that `series.toml` says, checked and with defaults filled in."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np

from meltdoe.series.belief import Belief, Circumstance
from meltdoe.series.budget import Budget, Costs, Kiln
from meltdoe.series.chemistry import Chemistry, ChemistryPrior, Derived
from meltdoe.series.coding import Coding
from meltdoe.series.factor import Amount, Factor, FloatArray, Setting
from meltdoe.series.limit import Limit
from meltdoe.series.outcome import Outcome
from meltdoe.series.recipe import Cooling, Mould, OwnMaterial, Recipe, Supply
from meltdoe.series.terms import Term

__all__ = ["MeltSeries"]


@dataclass(frozen=True)
class MeltSeries:
    """A test series: what is varied, what is seen, what must never be tried, what it may cost.

    Parameters
    ----------
    outcomes : in the order of the work.
    terms : terms asked for in the file; empty where the program is to choose.
    own_terms : terms asked for one outcome alone, by its name, in place of `terms`.
    moulds_per_melt : castings from one pour; above 1 a row of the log is one mould's casting.
    recipe, materials, supplies, mould, cooling : the glass; None or empty where the file does not speak of it.
    chemistry : what is asked of it. chemistry_prior, derived : what follows from it, as
        `meltdoe.charge.chemistry_prior.with_chemistry` adds it; its ceiling stands behind the other limits.
    folder : where the series lives, or None for a series made in memory.
    """

    title: str
    factors: tuple[Factor, ...]
    outcomes: tuple[Outcome, ...]
    goal: str = ""
    target_chance: float = 0.8
    seed: int = 1
    budget: Budget = field(default_factory=Budget)
    kiln: Kiln = field(default_factory=Kiln)
    limits: tuple[Limit, ...] = ()
    costs: Costs = field(default_factory=Costs)
    beliefs: tuple[Belief, ...] = ()
    terms: tuple[Term, ...] = ()
    own_terms: Mapping[str, tuple[Term, ...]] = field(default_factory=dict)
    circumstances: tuple[Circumstance, ...] = ()
    moulds_per_melt: int = 1
    recipe: Recipe | None = None
    materials: tuple[OwnMaterial, ...] = ()
    supplies: tuple[Supply, ...] = ()
    mould: Mould = field(default_factory=Mould)
    cooling: Cooling | None = None
    chemistry: Chemistry | None = None
    chemistry_prior: ChemistryPrior | None = None
    derived: tuple[Derived, ...] = ()
    folder: Path | None = None

    @cached_property
    def coding(self) -> Coding:
        return Coding(self.factors, self.derived)

    @cached_property
    def factor_names(self) -> tuple[str, ...]:
        return tuple(factor.name for factor in self.factors)

    def factor(self, name: str) -> Factor:
        """The factor of that name; KeyError where there is none."""
        return self._by_name[name]

    @cached_property
    def _by_name(self) -> dict[str, Factor]:
        return {factor.name: factor for factor in self.factors}

    def derived_quantity(self, name: str) -> Derived | None:
        """The quantity of the glass of that name among the terms, or None."""
        return next((one for one in self.derived if one.name == name), None)

    def terms_of(self, outcome: str) -> tuple[Term, ...]:
        """The terms that the file asks for the model of an outcome; empty where the program is to choose."""
        return self.own_terms.get(outcome, self.terms)

    def outcome(self, name: str) -> Outcome:
        """The outcome of that name; KeyError where there is none."""
        for outcome in self.outcomes:
            if outcome.name == name:
                return outcome
        raise KeyError(name)

    @cached_property
    def per_firing(self) -> tuple[int, ...]:
        """Positions of the factors that are set once per firing (hard to change)."""
        return tuple(i for i, factor in enumerate(self.factors) if factor.set_per == "firing")

    @property
    def nuisances(self) -> tuple[Circumstance, ...]:
        """The circumstances that may enter a model; what was weighed is the charge itself and no nuisance."""
        weighed = self.recipe.weighed if self.recipe else ""
        return tuple(circumstance for circumstance in self.circumstances if circumstance.name != weighed)

    def forerunners(self, name: str) -> tuple[Outcome, ...]:
        """The outcomes that must have been good before `name` exists, first one first."""
        chain: list[Outcome] = []
        after = self.outcome(name).after
        while after is not None:
            chain.append(self.outcome(after))
            after = chain[-1].after
        return tuple(reversed(chain))

    def raw(self, settings: Mapping[str, Setting]) -> FloatArray:
        """Settings by name to a raw row, shape (n_factors,); NaN where a factor is not given."""
        row = np.full(len(self.factors), np.nan)
        for i, factor in enumerate(self.factors):
            if factor.name in settings:
                value = settings[factor.name]
                row[i] = float(value) if isinstance(factor, Amount) else factor.options.index(str(value))
        return row

    def raw_table(self, rows: Iterable[Mapping[str, Setting]]) -> FloatArray:
        """Several settings to a raw table, shape (n_melts, n_factors)."""
        return np.array([self.raw(row) for row in rows], dtype=float).reshape(-1, len(self.factors))

    def settings(self, raw: FloatArray | Sequence[float]) -> dict[str, Setting]:
        """A raw row back to settings by name."""
        return {
            factor.name: float(value) if isinstance(factor, Amount) else factor.options[round(float(value))]
            for factor, value in zip(self.factors, raw, strict=True)
        }

    def show(self, settings: Mapping[str, Setting]) -> str:
        """Settings as one phrase for people, in the order of the factors."""
        parts = []
        for factor in self.factors:
            if factor.name in settings:
                value = settings[factor.name]
                shown = factor.show(float(value)) if isinstance(factor, Amount) else str(value)
                parts.append(f"{factor.name} {shown}")
        return ", ".join(parts)

    def show_all(self, settings: Mapping[str, Setting], of: Collection[str] | None = None) -> str:
        """Settings of a melt that was made as one phrase for people, with "unknown" where nobody knows them.

        Parameters
        ----------
        of : names of the factors; all where left out.
        """
        names = [name for name in self.factor_names if of is None or name in of]
        return ", ".join(self.show({n: settings[n]}) if n in settings else f"{n} unknown" for n in names)

    def allowed(self, raw: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Which rows of a raw table keep every limit, shape (n_melts,)."""
        table = np.atleast_2d(raw)
        columns = {name: table[:, i] for i, name in enumerate(self.factor_names)}
        keeps = np.ones(len(table), dtype=bool)
        for limit in self.limits:
            keeps &= np.broadcast_to(limit.holds(columns), keeps.shape)
        return keeps

    def broken_limits(self, settings: Mapping[str, Setting]) -> tuple[Limit, ...]:
        """The limits that a setting breaks."""
        row = self.raw(settings)
        columns = {name: row[i : i + 1] for i, name in enumerate(self.factor_names) if name in settings}
        return tuple(
            limit
            for limit in self.limits
            if limit.comparison.names <= columns.keys() and not np.all(limit.holds(columns))
        )

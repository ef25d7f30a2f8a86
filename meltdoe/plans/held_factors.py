"""Factors that a plan leaves alone: the series without them, and the way back to all of its settings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from meltdoe.errors import WrongUsage
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.optimal.candidates import candidate_settings, settable_values
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series.belief import Belief
from meltdoe.series.chemistry import Ceiling, Columns, Derived
from meltdoe.series.factor import Amount, FloatArray, Setting
from meltdoe.series.limit import Limit
from meltdoe.series.melt_series import MeltSeries

__all__ = ["Held", "held_settings"]

_LOOKED_AT = 2000


@dataclass(frozen=True, eq=False)
class Held:
    """A series some of whose factors stay as they are.

    Parameters
    ----------
    whole : the series as its file says it.
    settings : by name, of the factors that stay.
    """

    whole: MeltSeries
    settings: Mapping[str, Setting]

    @property
    def series(self) -> MeltSeries:
        """The series without the factors held; limits, terms and quantities of the glass see them at their settings."""
        whole, held = self.whole, self._raw()
        return replace(
            whole,
            factors=tuple(factor for factor in whole.factors if factor.name not in held),
            limits=tuple(_limit_at(limit, held) for limit in whole.limits),
            terms=tuple(term for term in whole.terms if held.keys().isdisjoint(term.factors)),
            own_terms={},
            derived=tuple(_derived_at(quantity, held) for quantity in whole.derived),
            beliefs=tuple(_belief_at(belief, held) for belief in whole.beliefs),
        )

    def without(self, raw: FloatArray | None) -> FloatArray | None:
        """The columns of the factors that vary, of a raw table of the whole series."""
        return None if raw is None else raw[:, self._varied()]

    def widened(self, plan: Plan) -> Plan:
        """A plan of `series` as one of the whole series."""
        names = self.whole.factor_names
        melts = tuple(
            replace(melt, settings={name: {**melt.settings, **self.settings}[name] for name in names})
            for melt in plan.melts
        )
        return replace(
            plan,
            series=self.whole,
            melts=melts,
            reason=f"{plan.reason}; left as it is: {self.whole.show(self.settings)}",
        )

    def _raw(self) -> dict[str, float]:
        row = self.whole.raw(self.settings)
        return {name: float(row[i]) for i, name in enumerate(self.whole.factor_names) if name in self.settings}

    def _varied(self) -> list[int]:
        return [i for i, name in enumerate(self.whole.factor_names) if name not in self.settings]


def held_settings(series: MeltSeries, texts: Sequence[str]) -> dict[str, Setting]:
    """Factors and their settings from texts such as ``"hold"`` or ``"hold = 30"``.

    Without a setting a factor stays in the middle of its range, or at its first option; where limits rule that out,
    at the nearest setting that they leave.

    Raises
    ------
    WrongUsage
        For a name that is no factor, a setting that it cannot take, or where no factor is left to vary.
    PlanImpossible
        Where the limits leave no setting for the others.
    """
    said: dict[str, Setting] = {}
    open_ones: list[str] = []
    for text in texts:
        name, equals, value = (part.strip() for part in text.partition("="))
        if name not in series.factor_names:
            raise WrongUsage(f'"{name}" is no factor of the series; hold some of {", ".join(series.factor_names)}')
        if equals:
            said[name] = _setting(series, name, value)
        else:
            open_ones.append(name)
    if len({*said, *open_ones}) == len(series.factors):
        raise WrongUsage("every factor is held, so that nothing is left to vary; hold fewer")
    for name in dict.fromkeys(open_ones):
        said[name] = _nearest_to_middle(series, name, said)
    if said and not _leaves_room(series, said):
        candidate_settings(series, _LOOKED_AT, per_firing=said)  # refuses where the limits leave nothing
    return said


def _leaves_room(series: MeltSeries, held: Mapping[str, Setting]) -> bool:
    """Whether a quick look finds settings of the others that keep the limits."""
    if not series.limits:
        return True
    row = series.raw(held)
    rng = np.random.default_rng(0)
    table = np.column_stack(
        [
            np.full(_LOOKED_AT, value) if np.isfinite(value) else rng.choice(settable_values(factor), _LOOKED_AT)
            for factor, value in zip(series.factors, row, strict=True)
        ]
    )
    return bool(series.allowed(table).any())


def _setting(series: MeltSeries, name: str, text: str) -> Setting:
    factor = series.factor(name)
    if not isinstance(factor, Amount):
        if text not in factor.options:
            raise WrongUsage(f'{name} has no option "{text}"; hold it at one of {", ".join(factor.options)}')
        return text
    try:
        value = float(text.removesuffix(factor.unit).strip().replace(",", "."))
    except ValueError:
        value = np.nan
    if not factor.low <= value <= factor.high:
        raise WrongUsage(
            f'{name} cannot be held at "{text}"; write a number from {factor.low:g} to {factor.show(factor.high)}'
        )
    return value


def _nearest_to_middle(series: MeltSeries, name: str, held: Mapping[str, Setting]) -> Setting:
    factor = series.factor(name)
    values = settable_values(factor)
    if isinstance(factor, Amount):
        values = values[np.argsort(np.abs(factor.coded(values)), kind="stable")]
    for value in values:
        setting = float(value) if isinstance(factor, Amount) else factor.options[round(float(value))]
        if _leaves_room(series, {**held, name: setting}):
            return setting
    raise PlanImpossible(f"the limits leave no setting at which {name} could be held", "vary it, or ease a limit")


def _limit_at(limit: Limit, held: Mapping[str, float]) -> Limit:
    comparison = limit.comparison
    touched = held.keys() & (set(comparison.factors) if isinstance(comparison, Ceiling) else comparison.names)
    if not touched:
        return limit

    def broken(columns: Columns) -> FloatArray:
        return np.asarray(~np.asarray(comparison.holds(_with(columns, held)), dtype=bool), dtype=float)

    names = frozenset(comparison.names - held.keys())
    factors = (set(comparison.factors) if isinstance(comparison, Ceiling) else comparison.names) - held.keys()
    return replace(limit, comparison=Ceiling(broken, 0.5, tuple(sorted(factors)), names, ()))


def _derived_at(quantity: Derived, held: Mapping[str, float]) -> Derived:
    return replace(quantity, calculate=lambda columns: quantity.calculate(_with(columns, held)))


def _belief_at(belief: Belief, held: Mapping[str, float]) -> Belief:
    return replace(belief, at={name: value for name, value in belief.at.items() if name not in held})


def _with(columns: Columns, held: Mapping[str, float]) -> Columns:
    like = next(iter(columns.values()), np.zeros(1))
    return {**columns, **{name: np.full(like.shape, value) for name, value in held.items()}}

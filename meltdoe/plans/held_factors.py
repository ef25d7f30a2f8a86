"""What a plan leaves alone: the series without it, and the way back to all of its settings.

Factors that are held, and options that can no longer be had and that no melt on record was made with.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from meltdoe.errors import WrongUsage
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.optimal.candidates import candidate_settings, settable_values
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series.belief import Belief
from meltdoe.series.chemistry import Ceiling, Columns, Derived
from meltdoe.series.factor import Amount, Factor, FloatArray, Setting
from meltdoe.series.limit import Limit
from meltdoe.series.melt_series import MeltSeries

__all__ = ["Held", "held_back", "held_settings", "without_lost_options"]

_LOOKED_AT = 2000


@dataclass(frozen=True, eq=False)
class Held:
    """A series some of whose factors stay as they are, or lose options.

    Parameters
    ----------
    whole : the series as its file says it.
    settings : by name, of the factors that stay.
    kept : by name, the places of the options that another factor keeps.
    """

    whole: MeltSeries
    settings: Mapping[str, Setting]
    kept: Mapping[str, FloatArray] = field(default_factory=dict)

    @property
    def series(self) -> MeltSeries:
        """The series without these; limits, terms and quantities of the glass see the factors at their settings."""
        whole, held = self.whole, self._raw()
        factors = tuple(self._narrowed(factor) for factor in whole.factors if factor.name not in held)
        # a limit that forbids no option any more is none
        idle = {(f.name,) for f in factors if f.name in self.kept and not isinstance(f, Amount) and not f.gone}
        limits = [
            limit
            for limit in whole.limits
            if limit.movable or not isinstance(limit.comparison, Ceiling) or limit.comparison.factors not in idle
        ]
        return replace(
            whole,
            factors=factors,
            limits=tuple(self._limit(limit, held) for limit in limits),
            terms=tuple(term for term in whole.terms if held.keys().isdisjoint(term.factors)),
            own_terms={},
            derived=tuple(self._derived(quantity, held) for quantity in whole.derived),
            beliefs=tuple(_belief_at(belief, factors) for belief in whole.beliefs),
        )

    def without(self, raw: FloatArray) -> FloatArray:
        """A raw table of the whole series as one of `series`."""
        table = np.array(raw, dtype=float)
        for i, name in enumerate(self.whole.factor_names):
            if name in self.kept:
                table[:, i] = np.searchsorted(self.kept[name], table[:, i])
        return table[:, self._varied()]

    def widened(self, plan: Plan) -> Plan:
        """A plan of `series` as one of the whole series."""
        names = self.whole.factor_names
        melts = tuple(
            replace(melt, settings={name: {**melt.settings, **self.settings}[name] for name in names})
            for melt in plan.melts
        )
        still = f"; left as it is: {self.whole.show(self.settings)}" if self.settings else ""
        return replace(plan, series=self.whole, melts=melts, reason=plan.reason + still)

    def _raw(self) -> dict[str, float]:
        row = self.whole.raw(self.settings)
        return {name: float(row[i]) for i, name in enumerate(self.whole.factor_names) if name in self.settings}

    def _narrowed(self, factor: Factor) -> Factor:
        if isinstance(factor, Amount) or factor.name not in self.kept:
            return factor
        options = tuple(factor.options[int(place)] for place in self.kept[factor.name])
        earlier = factor.earlier if factor.earlier in options else None
        gone = tuple(option for option in factor.gone if option in options)
        return replace(factor, options=options, earlier=earlier, gone=gone)

    def _limit(self, limit: Limit, held: Mapping[str, float]) -> Limit:
        comparison = limit.comparison
        seen = set(comparison.factors) if isinstance(comparison, Ceiling) else set(comparison.names)
        if (held.keys() | self.kept.keys()).isdisjoint(seen):
            return limit

        def broken(columns: Columns) -> FloatArray:
            holds = comparison.holds(self._of_whole(columns, held))
            return np.asarray(~np.asarray(holds, dtype=bool), dtype=float)

        names = frozenset(comparison.names - held.keys())
        return replace(limit, comparison=Ceiling(broken, 0.5, tuple(sorted(seen - held.keys())), names, ()))

    def _derived(self, quantity: Derived, held: Mapping[str, float]) -> Derived:
        return replace(quantity, calculate=lambda columns: quantity.calculate(self._of_whole(columns, held)))

    def _of_whole(self, columns: Columns, held: Mapping[str, float]) -> Columns:
        """Columns of `series` as those of the whole series."""
        like = next(iter(columns.values()), np.zeros(1))
        placed = {
            name: places[np.rint(columns[name]).astype(int)] for name, places in self.kept.items() if name in columns
        }
        return {**columns, **placed, **{name: np.full(like.shape, value) for name, value in held.items()}}

    def _varied(self) -> list[int]:
        return [i for i, name in enumerate(self.whole.factor_names) if name not in self.settings]


def held_back(series: MeltSeries, texts: Sequence[str], existing: FloatArray | None) -> Held | None:
    """What a plan does without; None where it is to do with everything.

    Parameters
    ----------
    texts : factors to be held, as `held_settings` takes them.
    existing : (n_made, n_factors) raw settings of the melts made, whose options stay even where they can no longer be
        had.

    Raises
    ------
    WrongUsage, PlanImpossible
        As `held_settings`.
    """
    kept, single = _options_left(series, existing)
    named = {text.partition("=")[0].strip() for text in texts}
    settings = held_settings(
        series, [*texts, *(f"{name} = {option}" for name, option in single.items() if name not in named)]
    )
    kept = {name: places for name, places in kept.items() if name not in settings}
    return Held(series, settings, kept) if settings or kept else None


def without_lost_options(series: MeltSeries, raw: FloatArray) -> Held:
    """A series without the options that can no longer be had and that no row of a raw table has."""
    return Held(series, {}, _options_left(series, raw)[0])


def _options_left(series: MeltSeries, made: FloatArray | None) -> tuple[dict[str, FloatArray], dict[str, str]]:
    """Of factors that lost options which were never used: the places of those left, and the only one left."""
    kept: dict[str, FloatArray] = {}
    single: dict[str, str] = {}
    for i, factor in enumerate(series.factors):
        if isinstance(factor, Amount):
            continue
        used = set() if made is None else {factor.options[round(value)] for value in made[:, i].tolist()}
        left = [place for place, option in enumerate(factor.options) if option not in factor.gone or option in used]
        if len(left) == 1:
            single[factor.name] = factor.options[left[0]]
        elif len(left) < len(factor.options):
            kept[factor.name] = np.array(left, dtype=float)
    return kept, single


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


def _belief_at(belief: Belief, factors: Sequence[Factor]) -> Belief:
    """The belief as far as it speaks of these factors and their options."""
    known = {factor.name: None if isinstance(factor, Amount) else factor.options for factor in factors}
    said = {name: value for name, value in belief.at.items() if name in known}
    return replace(belief, at={name: value for name, value in said.items() if value in (known[name] or (value,))})

"""Which plans are worth putting side by side for a series, the usual ones first.

A plan differs from another by its design, what it is best for, the factors that it leaves alone, or by clearly more or
fewer melts. Where the usual designs are too few, as with a handful of melts or odd factors, the list goes on with
designs that make do with less: factors left alone, fewer melts than effects, a start that is followed melt by melt.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from meltdoe.plans.designs_offered import TITLES
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.plan_request import Criterion
from meltdoe.plans.room import per_firing_width, room_left
from meltdoe.series.factor import Amount, Choice, Factor
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.terms import cross_terms, main_terms, square_terms

__all__ = [
    "Asked", "alike", "further_plans", "most_melts", "near", "sensible", "title_of", "usual_plans", "why_so_few",
]  # fmt: skip

_ENOUGH_MELTS, _MOST_MELTS = 24, 40  # looked at without a budget of melts, and with one
_MANY_FACTORS = 5  # from which Plackett-Burman designs are for
_SAME_SHARE = 0.15  # by how much two plans of one kind must differ in their melts
_EQUAL = 1e-6


@dataclass(frozen=True, slots=True)
class Asked:
    """What a plan is asked for with; see `meltdoe.plans.draw_up.make_plan`."""

    design: str
    melts: int | None = None
    criterion: Criterion = ""
    hold: tuple[str, ...] = ()

    @property
    def kind(self) -> tuple[str, str, tuple[str, ...]]:
        """What it is, its melts aside."""
        return self.design, self.criterion, self.hold


def most_melts(series: MeltSeries) -> int:
    """Melts of the largest plan looked at."""
    return room_left(series).most_melts(_MOST_MELTS if series.budget.melts is not None else _ENOUGH_MELTS)


def usual_plans(series: MeltSeries) -> list[Asked]:
    """The plans to try first."""
    k, most = len(series.factors), most_melts(series)
    asked = [Asked("fraction", runs) for runs in (8, 16, 32) if runs <= most]
    asked += [Asked("full")] if k < _MANY_FACTORS else []
    screening = next((runs for runs in (12, 20, 24) if runs > k), None)
    asked += [Asked("plackett-burman", screening)] if k >= _MANY_FACTORS and screening and screening <= most else []
    asked += [Asked("definitive-screening"), Asked("box-behnken"), Asked("central-composite"), Asked("optimal")]
    asked += [Asked("mixture")] if any(len(limit.comparison.names) > 1 for limit in series.limits) else []
    # the whole budget at once, for comparison with a smaller first part
    return [*asked, Asked("optimal", most), Asked("space-filling")] if most else asked


def further_plans(series: MeltSeries) -> Iterator[Asked]:
    """More to choose from, for as long as they are wanted: with every factor first, then with factors left alone."""
    most = most_melts(series)
    if most < 1:
        return
    some, half = max(1, round(0.7 * most)), max(1, round(0.5 * most))
    designs = [
        Asked("optimal", None, "bayesian-D"), Asked("optimal", some), Asked("optimal", most, "bayesian-D"),
        Asked("space-filling", most), Asked("optimal", half), Asked("array"), Asked("fraction", 4),
        Asked("sobol", some), Asked("optimal", some, "bayesian-D"), Asked("space-filling", half),
    ]  # fmt: skip
    for hold in ((), *_left_alone(series)):
        if hold:
            yield Asked("fraction", None, "", hold)
            yield Asked("full", None, "", hold)
        for asked in designs:
            yield replace(asked, hold=hold)


def _left_alone(series: MeltSeries) -> Iterator[tuple[str, ...]]:
    """Sets of factors to leave alone, small ones first: those that take most melts, else the last of the file."""
    room, names = room_left(series), series.factor_names
    order = sorted(range(len(names)), key=lambda i: (-_columns(series.factors[i]), -i))
    last = [names[i] for i in order]
    per_firing = [name for name in last if names.index(name) in series.per_firing]
    if room.firings is not None and room.firings <= per_firing_width(series):
        # what is set per firing cannot be shown by so few firings, however many melts they hold
        last = [*per_firing, *(name for name in last if name not in per_firing)]
    for count in range(1, len(names)):
        yield tuple(sorted(last[:count], key=names.index))


def _columns(factor: Factor) -> int:
    return len(factor.options) - 1 if isinstance(factor, Choice) else 1


def title_of(asked: Asked, plan: Plan) -> str:
    """What a plan is called in a table, its melts aside."""
    title = TITLES.get(plan.design, plan.design)
    if asked.criterion == "bayesian-D":
        few = len(plan.melts) < 1 + sum(_columns(f) for f in plan.series.factors if f.name not in asked.hold)
        title = "supersaturated" if few else "optimal for curves"
    if asked.hold:
        title += f" without {asked.hold[0]}" if len(asked.hold) == 1 else f" without {len(asked.hold)} factors"
    return title


def sensible(asked: Asked, plan: Plan) -> bool:
    """Whether every factor that is not left alone is varied, by at least half as many melts as it takes to show all."""
    varied = [i for i, name in enumerate(plan.series.factor_names) if name not in asked.hold]
    raw = plan.raw
    if (np.ptp(raw[:, varied], axis=0) == 0.0).any():
        return False
    width = sum(_columns(plan.series.factors[i]) for i in varied)
    return len(np.unique(raw, axis=0)) > 1 and len(raw) >= min(1 + width, max(2, (2 + width) // 2))


def alike(asked: Asked, plan: Plan, other: Asked, drawn: Plan) -> bool:
    """Whether two plans are one and the same for a maker.

    They are where their settings are, where they are of one kind and differ by less than one melt in seven, or
    where they tell exactly the same of main effects, interactions and squares (the same design with signs turned).
    """
    melts, others = len(plan.melts), len(drawn.melts)
    if (plan.design, *asked.kind[1:]) == (drawn.design, *other.kind[1:]):
        return near(melts, others)
    if melts != others or asked.hold != other.hold:
        return False
    return bool(np.allclose(_spectrum(plan), _spectrum(drawn), rtol=_EQUAL, atol=_EQUAL))


def near(melts: int, others: int) -> bool:
    """Whether two numbers of melts are too close for two plans of one kind."""
    return abs(melts - others) < max(1.0, _SAME_SHARE * min(melts, others))


def _spectrum(plan: Plan) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Eigenvalues of the information about all terms of order two, which signs and the order of melts leave alone."""
    factors = plan.series.factors
    X = plan.series.coding.matrix((*main_terms(factors), *cross_terms(factors), *square_terms(factors)), plan.raw)
    return np.asarray(np.linalg.eigvalsh(X.T @ X))


def why_so_few(series: MeltSeries) -> str:
    """What leaves fewer plans than usual, in words."""
    room = room_left(series)
    most = room.most_melts(_ENOUGH_MELTS)
    said = f"the budget leaves {most} melt{'s' * (most != 1)}"
    if room.firings is not None and room.firings * series.kiln.melts_per_firing <= most:
        said += f" in {room.firings} firing{'s' * (room.firings != 1)}"
    listed = [f for f in series.factors if not isinstance(f, Amount)]
    if len(listed) == len(series.factors):
        settings = int(np.prod([len(factor.options) for factor in listed]))
        said += f", and there are {settings} different settings in all"
    return said

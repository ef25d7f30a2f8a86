"""An exact D-optimal design for a series: its factors on their steps, its limits, its firings, melts already made.

Terms asked for in the series must be estimable. Where none are asked for, main effects must be, and two-factor
interactions are potential terms with prior variance 1, so that the melts left over are spent on telling them apart
(DuMouchel and Jones 1994, Technometrics 36).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
import numpy.typing as npt

from meltdoe.errors import Inestimable
from meltdoe.plans.coordinate_exchange import exchange
from meltdoe.plans.model_matrix import Categorical, Continuous, DesignFactor
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.room import Room
from meltdoe.series.factor import Amount, Choice, Factor, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.terms import Term, cross_terms, main_terms

__all__ = ["OptimalMelts", "default_melts", "optimal_melts"]

_SPARE_MELTS = 4
_FEWEST_UNASKED = 8
_MOST_UNASKED = 24
_VALUES_WITHOUT_STEP = 41
_MOST_POTENTIAL = 40
# columns times melts above which fewer starts are made, to stay within seconds
_LARGE = 120


@dataclass(frozen=True, eq=False)
class OptimalMelts:
    """Raw settings (n_melts, n_factors), firing by firing, and what they are optimal for."""

    raw: FloatArray
    reason: str


def default_melts(series: MeltSeries, room: Room) -> int:
    """Melts where no number was asked for: the terms and four spare, in full firings, as far as the budget goes.

    Raises
    ------
    PlanImpossible
        Where the budget leaves none.
    """
    needed = 1 + sum(series.coding.width(term) for term in series.terms or main_terms(series.factors))
    per_firing = series.kiln.melts_per_firing
    wanted = min(_MOST_UNASKED, max(_FEWEST_UNASKED, needed + _SPARE_MELTS))
    wanted = max(wanted, needed)
    count = room.most_melts(ceil(wanted / per_firing) * per_firing)
    if count < 1:
        raise PlanImpossible("the budget leaves no melt", "raise the budget of melts, firings or money")
    return count


def optimal_melts(
    series: MeltSeries, sizes: Sequence[int], existing: FloatArray | None = None, seed: int = 1
) -> OptimalMelts:
    """The best D-optimal design found.

    Parameters
    ----------
    sizes : melts in each firing.
    existing : (n_made, n_factors) raw settings already made, which count as information.
    seed : seed of the starts.

    Raises
    ------
    PlanImpossible
        Where the melts are too few for the terms, or limits and firings do not let them be told apart.
    """
    steps = _Steps(series)
    wanted = series.terms or main_terms(series.factors)
    melts, width = sum(sizes), 1 + sum(series.coding.width(term) for term in wanted)
    made = 0 if existing is None else len(existing)
    if melts + made < width:
        raise PlanImpossible(
            f"{melts + made} melts cannot estimate the {width} quantities of "
            + ("the terms" if series.terms else "main effects"),
            f"ask for at least {width - made} melts, or vary fewer factors",
        )
    potential = () if series.terms else cross_terms(series.factors)
    extra = sum(series.coding.width(term) for term in potential)
    if extra > _MOST_POTENTIAL:
        potential, extra = (), 0
    exponents = [steps.exponents(term) for term in (None, *wanted, *potential)]
    prior = np.concatenate([np.zeros(width), np.ones(extra)]) if extra else None
    shared = bool(series.per_firing) and max(sizes) > 1
    try:
        found = exchange(
            steps.factors,
            exponents,
            melts,
            firings=list(sizes) if shared else None,
            limits=(lambda coded: series.allowed(steps.raw(coded)),) if series.limits else (),
            existing=None if existing is None else steps.coded(existing),
            prior_precision=prior,
            effort=float(np.clip(_LARGE / ((width + extra) * melts), 0.15, 1.0)),
            seed=seed,
        )
    except Inestimable as tied:
        raise PlanImpossible(
            f"{melts} melts in {len(sizes)} firings within the limits cannot tell all terms apart: {tied}",
            "add melts or firings, or leave terms out",
        ) from tied
    except ValueError as wrong:
        raise PlanImpossible(str(wrong), "check ranges and limits") from wrong
    return OptimalMelts(steps.raw(found.table), _reason(series, melts, len(sizes), made, bool(potential)))


def _reason(series: MeltSeries, melts: int, firings: int, made: int, potential: bool) -> str:
    aim = "the terms of the series" if series.terms else "main effects"
    said = f"a D-optimal design for {aim} in {melts} melts"
    if series.per_firing:
        said += f" and {firings} firings"
    if potential:
        said += ", the melts left over spent on two-factor interactions"
    if made:
        said += f", completing {made} melts made before"
    return said


class _Steps:
    """The factors as the search sees them, and the way back to raw settings exactly on their steps."""

    def __init__(self, series: MeltSeries) -> None:
        self._series = series
        self._grids = [self._grid(factor) for factor in series.factors]
        curved = {name for term in series.terms for name, power in term.powers if power > 1}
        bound = frozenset().union(*(limit.comparison.names for limit in series.limits))
        self._levels = [
            grid if isinstance(f, Choice) else np.asarray(f.coded(grid))
            for f, grid in zip(series.factors, self._grids, strict=True)
        ]
        # coded values land on the nearest step: between two levels the border is half way
        self._borders = [(levels[1:] + levels[:-1]) / 2.0 for levels in self._levels]
        self.factors: list[DesignFactor] = [
            # the determinant is convex in a melt's setting of a factor without powers: its ends are enough where no
            # limit cuts them off
            self._design_factor(f, levels if f.name in curved or f.name in bound else levels[[0, -1]])
            for f, levels in zip(series.factors, self._levels, strict=True)
        ]

    @staticmethod
    def _grid(factor: Factor) -> FloatArray:
        if isinstance(factor, Amount):
            values = factor.grid() if factor.step is not None else factor.grid(_VALUES_WITHOUT_STEP)
            return np.clip(values, factor.low, factor.high)
        return factor.grid()

    @staticmethod
    def _design_factor(factor: Factor, levels: FloatArray) -> DesignFactor:
        shared = factor.set_per == "firing"
        if isinstance(factor, Choice):
            return Categorical(len(factor.options), shared)
        return Continuous(tuple(np.clip(levels, -1.0, 1.0).tolist()), shared)

    def exponents(self, term: Term | None) -> tuple[int, ...]:
        powers = {} if term is None else dict(term.powers)
        return tuple(powers.get(name, 0) for name in self._series.factor_names)

    def raw(self, coded: FloatArray) -> FloatArray:
        table = np.empty_like(coded)
        for i, (grid, borders) in enumerate(zip(self._grids, self._borders, strict=True)):
            table[:, i] = grid[np.searchsorted(borders, coded[:, i])]
        return table

    def coded(self, raw: npt.ArrayLike) -> FloatArray:
        table = np.array(raw, dtype=float)
        for i, factor in enumerate(self._series.factors):
            if not isinstance(factor, Choice):
                table[:, i] = factor.coded(table[:, i])
        return table

"""An exact optimal design for a series: its factors on their steps, its limits, its firings, melts already made.

Terms asked for in the series must be estimable. Where none are asked for, main effects must be, and two-factor
interactions are potential terms with prior variance 1, so that the melts left over are spent on telling them apart
(DuMouchel and Jones 1994, Technometrics 36).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
import numpy.typing as npt
from scipy import special

from meltdoe.costs.price import assumed_chances
from meltdoe.errors import Inestimable
from meltdoe.plans.designs_offered import CRITERIA
from meltdoe.plans.optimal.candidates import candidate_settings
from meltdoe.plans.optimal.coordinate_exchange import exchange
from meltdoe.plans.optimal.model_matrix import Categorical, Continuous, DesignFactor
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.plan_request import Criterion, PlanRequest
from meltdoe.plans.room import Room
from meltdoe.series.chemistry import Ceiling
from meltdoe.series.factor import Amount, Choice, Factor, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.terms import Term, cross_terms, main_terms, square_terms
from meltdoe.wording import listed

__all__ = ["OptimalMelts", "default_melts", "optimal_melts"]

_SPARE_MELTS = 4
_FEWEST_UNASKED = 8
_MOST_UNASKED = 24
_VALUES_WITHOUT_STEP = 41
_MOST_POTENTIAL = 40
_DRAWS = 128
_SPARE_FOR_CURVES = 3  # melts beyond the terms of a full quadratic from which squares are kept in view unasked
_LOOKED_AT = 4096
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


def optimal_melts(request: PlanRequest, sizes: Sequence[int], room: Room, seed: int = 1) -> OptimalMelts:
    """The best optimal design found.

    Parameters
    ----------
    request : its criterion, the interactions to be estimated, what was made before, the ratios of variances.
    sizes : melts in each firing.
    room : what the budget leaves, for what is said where it is too little.
    seed : seed of the starts.

    Raises
    ------
    PlanImpossible
        Where the melts are too few for the terms, or limits and firings do not let them be told apart.
    """
    series, criterion = request.series, request.criterion
    asked = series.terms or main_terms(series.factors)
    clear = tuple(Term(tuple(sorted(((first, 1), (second, 1))))) for first, second in request.clear)
    wanted = (*asked, *(term for term in clear if term not in asked))
    still = {f.name for f in series.factors if not isinstance(f, Amount) and len(f.options) - len(f.gone) == 1}
    wanted = _tellable(request, wanted, still)
    melts, width = sum(sizes), 1 + sum(series.coding.width(term) for term in wanted)
    possible = _possible_terms(series, criterion, wanted, melts + request.made, still)
    if melts + request.made < width and criterion == "bayesian-D" and not series.terms and not clear:
        # fewer melts than effects: all of them are only possible (Jones, Lin and Nachtsheim 2008, J. Statist. Plann.
        # Inference 138, from memory)
        wanted, possible, width = (), wanted, 1
    steps = _Steps(series, (*wanted, *possible), curved=criterion in ("I", "pass-chance"))
    if melts + request.made < width and criterion != "pass-chance":
        least = width - request.made
        raise PlanImpossible(
            f"{melts + request.made} melts cannot estimate the {width} quantities of "
            + ("the terms" if series.terms or clear else "main effects"),
            f"ask for at least {least} melts, or vary fewer factors"
            if room.melts is None or least <= room.melts
            else f"raise the budget of melts to leave {least}, or vary fewer factors",
        )
    extra = sum(series.coding.width(term) for term in possible)
    shared = bool(series.per_firing) and max(sizes) > 1
    draws = prior = None
    if criterion == "pass-chance":
        draws, prior = _prior_draws(series, wanted, seed)
    plain = criterion in ("", "bayesian-D")
    limited = _limited(series)
    try:
        found = exchange(
            steps.factors,
            [steps.exponents(term) for term in (None, *wanted)],
            melts,
            ("bayesian-D" if possible else "D") if plain else criterion,  # type: ignore[arg-type]
            firings=list(sizes) if shared else None,
            eta=request.ratios,
            limits=(lambda coded: series.allowed(steps.raw(coded, limited)),) if series.limits else (),
            limited=limited,
            existing=None if request.existing is None else steps.coded(request.existing),
            existing_firings=request.firing_sizes_made if request.made and shared else None,
            prior_precision=prior,
            possible=[steps.exponents(term) for term in possible],
            draws=draws,
            effort=float(np.clip(_LARGE / ((width + extra) * melts), 0.15, 1.0)),
            seed=seed,
        )
    except Inestimable as tied:
        raise PlanImpossible(
            f"{melts} melts in {len(sizes)} firings within the limits cannot tell all terms apart: "
            f"{_by_name(series, tied)}",
            "add melts or firings, or leave terms out",
        ) from tied
    except ValueError as wrong:
        raise PlanImpossible(str(wrong), "check ranges and limits") from wrong
    reason = _reason(request, melts, len(sizes), possible)
    if found.by_eta:
        reason += "; " + ", ".join(
            f"{share:.0f} % of the best at a ratio of {ratio:g}" for ratio, share in found.by_eta
        )
    return OptimalMelts(steps.raw(found.table), reason)


def _tellable(request: PlanRequest, wanted: tuple[Term, ...], still: Collection[str]) -> tuple[Term, ...]:
    """The terms without those that no new melt can part from others, since options can no longer be had.

    A kiln and a lot of rock that were both replaced between two melts changed together and will for ever: one of them
    stands for the whole change, and the settings of the other factors are told apart all the same.

    Parameters
    ----------
    still : factors of which one option is left.
    """
    series, made = request.series, request.existing
    fewer = {f.name for f in series.factors if not isinstance(f, Amount) and f.gone}
    if made is None or not fewer:
        return wanted
    reach = np.vstack([made, candidate_settings(series, _LOOKED_AT)])
    kept = [term for term in wanted if fewer.isdisjoint(term.factors)]
    for term in sorted((t for t in wanted if t not in kept), key=lambda t: not set(still).isdisjoint(t.factors)):
        before, after = (np.linalg.matrix_rank(series.coding.matrix(terms, reach)) for terms in (kept, [*kept, term]))
        if after - before == series.coding.width(term):
            kept.append(term)
    return tuple(term for term in wanted if term in kept)


def _by_name(series: MeltSeries, tied: Inestimable) -> str:
    """What the search found tied, in the names of the factors in place of its own."""
    groups = str(tied).rpartition(": ")[2].split("; ")
    names = [
        dict.fromkeys(re.sub(r"x(\d+)(?:\[\d+\])?", lambda found: series.factor_names[int(found[1]) - 1], name)
                      for name in group.split(" and "))
        for group in groups
    ]  # fmt: skip
    return "; ".join(listed([name for name in group if name != "constant"]) for group in names)


def _limited(series: MeltSeries) -> tuple[int, ...]:
    """Places of the factors that limits look at."""
    named: set[str] = set()
    for limit in series.limits:
        named |= set(limit.comparison.factors) if isinstance(limit.comparison, Ceiling) else limit.comparison.names
    return tuple(i for i, name in enumerate(series.factor_names) if name in named)


def _possible_terms(
    series: MeltSeries, criterion: Criterion, wanted: Sequence[Term], melts: int, still: Collection[str]
) -> tuple[Term, ...]:
    """Terms that need not be estimable: interactions; the squares of amounts with Bayesian D, or where melts abound."""
    if criterion not in ("", "bayesian-D") or (criterion == "" and series.terms):
        return ()
    crosses, squares = cross_terms(series.factors), square_terms(series.factors)
    most = _MOST_POTENTIAL
    possible: tuple[Term, ...] = ()
    everything = 1 + sum(series.coding.width(term) for term in {*wanted, *crosses, *squares})
    curved = criterion == "bayesian-D" or melts >= everything + _SPARE_FOR_CURVES
    for group in (crosses, squares) if curved else (crosses,):
        added = tuple(term for term in group if term not in wanted and set(still).isdisjoint(term.factors))
        size = sum(series.coding.width(term) for term in added)
        if size <= most:
            possible, most = (*possible, *added), most - size
    return possible


def _prior_draws(series: MeltSeries, wanted: Sequence[Term], seed: int) -> tuple[FloatArray, FloatArray]:
    """Draws of the coefficients of a pass chance and their precision: the default prior of pass/fail fits.

    b0 ~ N(logit of the chance believed, 2^2), main effects N(0, 1.5^2), others N(0, 0.75^2) on the coded scale (common
    practice, no source).
    """
    held = assumed_chances(series)
    start = float(special.logit(np.clip(np.mean(list(held.values()) or [0.7]), 0.05, 0.95)))
    scales = np.array(
        [2.0, *(1.5 if term.order == 1 else 0.75 for term in wanted for _ in range(series.coding.width(term)))]
    )
    half = np.random.default_rng(seed).normal(size=(_DRAWS // 2, len(scales)))
    draws = np.vstack([half, -half]) * scales  # mirrored: the mean over draws is exact
    draws[:, 0] += start
    return draws, scales**-2.0


def _reason(request: PlanRequest, melts: int, firings: int, possible: Sequence[Term]) -> str:
    series = request.series
    aim = "the terms of the series" if series.terms else "main effects"
    if request.clear:
        aim += " and " + ", ".join(" * ".join(pair) for pair in request.clear)
    name = {"": "D", "bayesian-D": "Bayesian D", "pass-chance": "pass-chance D"}.get(
        request.criterion, request.criterion
    )
    said = f"a {name}-optimal design ({CRITERIA[request.criterion or 'D']}) for {aim} in {melts} melts"
    if series.per_firing:
        said += f" and {firings} firings"
    if any(term.order == 1 for term in possible):
        said += ", fewer than there are effects, so that only a few strong ones can be found"
    elif possible and not series.terms:
        kinds = [any(len(term.factors) == n for term in possible) for n in (2, 1)]
        spent = [what for what, kept in zip(("two-factor interactions", "curves"), kinds, strict=True) if kept]
        said += f", the melts left over spent on {' and '.join(spent)}"
    if request.made:
        said += f", completing {request.made} melts made before"
    return said


class _Steps:
    """The factors as the search sees them, and the way back to raw settings exactly on their steps."""

    def __init__(self, series: MeltSeries, terms: Sequence[Term], *, curved: bool) -> None:
        self._series = series
        self._grids = [self._grid(factor) for factor in series.factors]
        inner = {name for term in terms for name, power in term.powers if power > 1}
        bound = frozenset().union(*(limit.comparison.names for limit in series.limits)) if self._cut() else frozenset()
        self._levels = [
            grid if isinstance(f, Choice) else np.asarray(f.coded(grid))
            for f, grid in zip(series.factors, self._grids, strict=True)
        ]
        # coded values land on the nearest step: between two levels the border is half way
        self._borders = [(levels[1:] + levels[:-1]) / 2.0 for levels in self._levels]
        self.factors: list[DesignFactor] = [
            # the determinant is convex in a melt's setting of a factor without powers: its ends are enough where no
            # limit cuts them off; that does not hold for predictions and for pass chances
            self._design_factor(f, levels if curved or f.name in inner | bound else levels[[0, -1]])
            for f, levels in zip(series.factors, self._levels, strict=True)
        ]

    def _cut(self) -> bool:
        """Whether limits cut into the ranges, looked for at their ends and at random; they are kept in any case."""
        rng = np.random.default_rng(0)
        inside = [rng.choice(grid, _LOOKED_AT) for grid in self._grids]
        ends = [rng.choice(grid[[0, -1]], _LOOKED_AT) for grid in self._grids]
        return not bool(self._series.allowed(np.vstack([np.column_stack(inside), np.column_stack(ends)])).all())

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

    def raw(self, coded: FloatArray, places: Sequence[int] | None = None) -> FloatArray:
        """Raw settings; with `places` those of these factors only, the others at the first of their values."""
        table = np.tile([grid[0] for grid in self._grids], (len(coded), 1))
        for i in range(len(self._grids)) if places is None else places:
            table[:, i] = self._grids[i][np.searchsorted(self._borders[i], coded[:, i])]
        return table

    def coded(self, raw: npt.ArrayLike) -> FloatArray:
        table = np.array(raw, dtype=float)
        for i, factor in enumerate(self._series.factors):
            if not isinstance(factor, Choice):
                table[:, i] = factor.coded(table[:, i])
        return table

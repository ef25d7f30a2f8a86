"""From a series to a plan: a pattern or an optimal design, kept within limits, dealt out to firings, put in order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import linalg

from meltdoe.errors import WrongUsage
from meltdoe.plans.array_pattern import array_pattern
from meltdoe.plans.blocked_layout import blocked_layout
from meltdoe.plans.designs_offered import TITLES
from meltdoe.plans.families.sobol_start import sobol_spread
from meltdoe.plans.families.space_filling import spread_out
from meltdoe.plans.follow_up import foldover_pattern, groups_of, rows_to_repeat
from meltdoe.plans.fraction_pattern import fraction_pattern
from meltdoe.plans.held_factors import held_back
from meltdoe.plans.keep_limits import limits_in_words, move_into_limits
from meltdoe.plans.layout import Layout, lay_out
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.plans.mixture_pattern import mixture_pattern
from meltdoe.plans.optimal_melts import default_melts, optimal_melts
from meltdoe.plans.patterns import (
    Pattern,
    centre_pattern,
    full_pattern,
    plackett_burman_pattern,
    three_level_pattern,
)
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.plan_request import PlanRequest, plan_request
from meltdoe.plans.room import Room, firing_sizes, room_left
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.terms import main_terms

__all__ = ["make_plan"]

# A pattern some of whose melts were moved must keep this share of its efficiency for main effects: our own choice.
_LEAST_KEPT = 0.6
_MOST_OF_PATTERN_MOVED = 0.34
_PLACKETT_BURMAN_MELTS = (12, 20, 24)


@dataclass(frozen=True, eq=False)
class _Drawn:
    """Melts of a design and how they stand in firings, still to be numbered."""

    design: str
    raw: FloatArray
    purpose: tuple[str, ...]
    layout: Layout
    reason: str


def make_plan(
    series: MeltSeries,
    design: str = "auto",
    melts: int | None = None,
    seed: int | None = None,
    first_melt: int = 1,
    first_firing: int = 1,
    existing: FloatArray | None = None,
    centre_points: int = 0,
    *,
    existing_firings: Sequence[int] | None = None,
    used: tuple[int, int] | None = None,
    replicates: int = 0,
    keep_clear: Sequence[str] = (),
    criterion: str = "",
    variance_ratios: Sequence[float] = (1.0,),
    reverse: Sequence[str] = (),
    hold: Sequence[str] = (),
    blocks: int = 1,
) -> Plan:
    """Draw up a plan that keeps every limit, every step, the firings and the budget.

    Parameters
    ----------
    design : one of `meltdoe.plans.designs_offered.DESIGNS`.
    melts : how many, centre points and replicates not counted; None lets the design and the budget decide, where
        "auto" keeps a third of the budget back for following up.
    seed : gives the order of the work and the starts of searches; the series' own where None. The same seed gives the
        same plan.
    first_melt, first_firing : numbers to count on from.
    existing : (n_made, n_factors) raw settings of melts already made, which an optimal design completes and a
        foldover reverses.
    centre_points : melts in the middle of the amounts, added to the design.
    existing_firings : (n_made,) firing of each melt already made.
    used : melts and firings that are taken off the budget; where None, all before `first_melt` and `first_firing`.
    replicates : repeats of planned melts, added, which show how far equal melts differ.
    keep_clear : interactions such as ``"flux * peak"`` to be mixed up with no main effect and no other interaction of
        two factors; an optimal design estimates them.
    criterion : what an optimal design is best for, one of `meltdoe.plans.designs_offered.CRITERIA`; where left out,
        D for main effects (or the terms of the series) with interactions as possible terms.
    variance_ratios : variance between firings over variance between melts of one firing; several for an optimal design
        that is good at all of them.
    reverse : factors that a foldover reverses; all where empty.
    hold : factors that stay as they are, such as ``"hold"`` or ``"hold = 30"``; in their middle, or at their first
        option, where nothing is said.
    blocks : equal parts, such as days or lots of material, over which the melts are spread so that what differs between
        them costs least; 1 for none.

    Raises
    ------
    PlanImpossible
        Where factors, limits, firings or budget do not allow it; says what to change.
    WrongUsage
        For a design that does not exist or numbers that mean nothing.
    """
    if first_melt < 1 or first_firing < 1:
        raise WrongUsage("melts and firings are counted from 1")
    held = held_back(series, hold, existing)
    if held is not None:
        made = None if existing is None else held.without(existing)
        plan = make_plan(
            held.series, design, melts, seed, first_melt, first_firing, made, centre_points,
            existing_firings=existing_firings, used=used, replicates=replicates, keep_clear=keep_clear,
            criterion=criterion, variance_ratios=variance_ratios, reverse=reverse, blocks=blocks,
        )  # fmt: skip
        return held.widened(plan)
    request = plan_request(
        series, design, melts, existing, existing_firings, centre_points, replicates, keep_clear, criterion,
        variance_ratios, reverse, blocks,
    )  # fmt: skip
    whole = room_left(series, *(used or (max(first_melt - 1, request.made), first_firing - 1)))
    room = request.room_for_design(whole)
    seed = series.seed if seed is None else seed
    rng = np.random.default_rng(seed)
    if request.design == "auto" and melts is None:
        try:
            drawn = _automatic(request, room.first_part(), rng)
        except PlanImpossible:
            drawn = _automatic(request, room, rng)
    elif request.design == "auto":
        drawn = _automatic(request, room, rng)
    else:
        drawn = _drawn(request, room, rng)
    whole.refuse(len(drawn.raw), int(drawn.layout.firing.max()) + 1)
    return Plan(series, _numbered(series, drawn, first_melt, first_firing), drawn.design, drawn.reason, seed)


def _automatic(request: PlanRequest, room: Room, rng: np.random.Generator) -> _Drawn:
    """A pattern that has the number of melts asked for, a fraction first; else an optimal design.

    Interactions that must stay clear are the fraction's business: where it has none, that is said.
    """
    series, melts = request.series, request.melts
    if request.existing is None and not series.terms and not request.criterion:
        as_plackett_burman = melts in _PLACKETT_BURMAN_MELTS and not request.clear
        wanted = [] if as_plackett_burman else ["fraction"]
        wanted += ["plackett-burman"] if as_plackett_burman and len(series.factors) >= 5 else []
        wanted += [] if melts is None or request.clear else _for_many_melts(series)
        for name in wanted:
            try:
                drawn = _drawn(replace(request, design=name), room, np.random.default_rng(rng.integers(2**32)))
            except PlanImpossible:
                if request.clear:
                    raise
                continue
            if np.mean(["to keep a limit" in purpose for purpose in drawn.purpose]) <= _MOST_OF_PATTERN_MOVED:
                return drawn
    return _drawn(replace(request, design="optimal"), room, rng)


def _for_many_melts(series: MeltSeries) -> list[str]:
    """What a number of melts that no fraction has may be a multiple of, where there are many for few factors."""
    amounts = sum(isinstance(factor, Amount) for factor in series.factors)
    if amounts == len(series.factors):
        return ["central-composite", "box-behnken"]
    return [] if amounts else ["full"]


def _drawn(request: PlanRequest, room: Room, rng: np.random.Generator) -> _Drawn:
    name = request.design
    if request.clear and name not in ("fraction", "optimal"):
        raise PlanImpossible(
            f"interactions are kept clear by a fraction or an optimal design, not by {TITLES.get(name, name)}",
            'take design "fraction" or "optimal"',
        )
    if name in ("optimal", "space-filling", "sobol"):
        return _free_of_patterns(request, room, rng)
    return _from_pattern(request, name, _PATTERNS[name](request, room), rng)


def _by_size(pattern: Callable[[MeltSeries, int | None, Room], Pattern]) -> Callable[[PlanRequest, Room], Pattern]:
    return lambda request, room: pattern(request.series, request.melts, room)


def _three_levels(request: PlanRequest, room: Room) -> Pattern:
    return three_level_pattern(request.series, request.design, request.melts, room)


def _fraction(request: PlanRequest, room: Room) -> Pattern:
    return fraction_pattern(
        request.series, request.melts, room, request.clear, blocks_asked=request.blocks, added=bool(request.added)
    )


def _centre(request: PlanRequest, room: Room) -> Pattern:
    return centre_pattern(request.series, request.melts or min(4, max(1, room.most_melts(4))))


# of every design that is a pattern: what places the factors of a series in it
_PATTERNS: dict[str, Callable[[PlanRequest, Room], Pattern]] = {
    "fraction": _fraction,
    "full": _by_size(full_pattern),
    "plackett-burman": _by_size(plackett_burman_pattern),
    "definitive-screening": _three_levels,
    "box-behnken": _three_levels,
    "central-composite": _three_levels,
    "array": _by_size(array_pattern),
    "mixture": _by_size(mixture_pattern),
    "centre": _centre,
    "foldover": foldover_pattern,
    "half-foldover": foldover_pattern,
}


def _from_pattern(request: PlanRequest, name: str, pattern: Pattern, rng: np.random.Generator) -> _Drawn:
    series = request.series
    if name == "fraction" and pattern.purpose[0] == "full factorial":
        name = "full"  # the melts asked for hold every combination, so that nothing is a fraction of anything
    if request.centre_points:
        pattern = pattern.plus(centre_pattern(series, request.centre_points))
    groups = groups_of(series, pattern.raw)
    moved = move_into_limits(series, pattern.raw, groups)
    count = int(moved.moved.sum())
    reason = pattern.reason
    if count:
        why = limits_in_words(series, pattern.raw)
        if name != "centre" and _kept(series, pattern.raw, moved.raw) < _LEAST_KEPT:
            raise PlanImpossible(
                f"the limit {why} would move {count} of {len(moved.raw)} melts of the {TITLES.get(name, name)} pattern "
                "so far that it no longer tells the factors apart",
                'take design "optimal", which works within the limits, or narrow the ranges',
            )
        reason += f"; {count} melt{'s were' if count > 1 else ' was'} moved to keep the limit {why}"
        if name != "centre":
            reason += ", so that what is said of the pattern holds no longer as it stands; see the correlations below"
            if request.clear:
                reason += ", also of what was to be kept clear"
    purpose = tuple(
        f"{said}, moved to keep a limit" if shifted else said
        for said, shifted in zip(pattern.purpose, moved.moved, strict=True)
    )
    if pattern.firing is not None:
        groups = pattern.firing
    return _laid_out(request, name, moved.raw, purpose, groups, reason, rng, pattern.block)


def _kept(series: MeltSeries, before: FloatArray, after: FloatArray) -> float:
    """Efficiency for main effects after a move, as a share of that before: (|X'X| / |X0'X0|)^(1/p)."""
    terms = main_terms(series.factors)
    first, second = (series.coding.matrix(terms, raw) for raw in (before, after))
    if np.linalg.matrix_rank(second) < min(second.shape):
        return 0.0
    if len(first) < first.shape[1] or np.linalg.matrix_rank(first) < first.shape[1]:
        return 1.0
    old, new = (np.log(np.abs(np.diag(linalg.qr(X, mode="r")[0][: X.shape[1]]))).sum() for X in (first, second))
    return float(np.exp(2.0 * (new - old) / first.shape[1]))


def _free_of_patterns(request: PlanRequest, room: Room, rng: np.random.Generator) -> _Drawn:
    """Melts whose firings are settled first, firing by firing, with centre points added."""
    series, design = request.series, request.design
    count = request.melts if request.melts is not None else default_melts(series, room)
    room.refuse(count, 0)
    sizes = firing_sizes(series, count, room, len(request.firing_sizes_made))
    if design == "optimal":
        found = optimal_melts(request, sizes, room, int(rng.integers(2**31)))
        raw, reason = found.raw, found.reason
    elif design == "sobol":
        raw, reason = sobol_spread(series, sizes, rng), f"{count} melts by a Sobol sequence, assuming no model"
    else:
        raw, reason = spread_out(series, sizes, rng), f"{count} melts spread evenly over the region, assuming no model"
    purpose: tuple[str, ...] = (TITLES.get(design, design),) * count
    groups = np.repeat(np.arange(len(sizes)), sizes)
    if request.centre_points:
        added = centre_pattern(series, request.centre_points)
        centre_groups = len(sizes) + groups_of(series, added.raw)
        centre = move_into_limits(series, added.raw, centre_groups).raw
        raw, purpose, reason = np.vstack([raw, centre]), purpose + added.purpose, f"{reason}, and {added.reason}"
        groups = np.concatenate([groups, centre_groups])
    if not series.per_firing:
        groups = np.zeros(len(raw), dtype=np.int64)
    return _laid_out(request, design, raw, purpose, groups, reason, rng)


def _laid_out(
    request: PlanRequest,
    design: str,
    raw: FloatArray,
    purpose: tuple[str, ...],
    groups: npt.NDArray[np.int64],
    reason: str,
    rng: np.random.Generator,
    block: npt.NDArray[np.int64] | None = None,
) -> _Drawn:
    """The replicates added, and all of it dealt out to blocks and firings."""
    series = request.series
    if request.replicates:
        rows = rows_to_repeat(series, raw, request.replicates, groups)
        raw, groups = np.vstack([raw, raw[rows]]), np.concatenate([groups, groups[rows]])
        purpose += tuple(purpose[row] for row in rows)
        many = "s" * (request.replicates > 1)
        reason += f", and {request.replicates} repeat{many} that show how far equal melts differ"
    if request.blocks == 1:
        layout = lay_out(raw, series.coding, series.kiln.melts_per_firing, groups, rng)
        return _Drawn(design, raw, purpose, layout, reason)
    spread = blocked_layout(series, raw, groups, request.blocks, rng, block)
    purpose = tuple(f"{said}, block {number}" for said, number in zip(purpose, spread.block, strict=True))
    reason += f"; spread over {request.blocks} blocks, named with each melt in plan.csv: {spread.carried}"
    layout = spread.layout
    return _Drawn(design, raw, purpose, layout, reason)


def _numbered(series: MeltSeries, drawn: _Drawn, first_melt: int, first_firing: int) -> tuple[PlannedMelt, ...]:
    """Melts and firings counted on in the order of the work; a melt equal to an earlier one is called its repeat."""
    numbered: list[PlannedMelt] = []
    seen: dict[bytes, int] = {}
    for place, (row, firing) in enumerate(zip(drawn.layout.order, drawn.layout.firing, strict=True)):
        melt = first_melt + place
        earlier = seen.setdefault(drawn.raw[row].tobytes(), melt)
        purpose = drawn.purpose[row]
        if earlier != melt and not purpose.startswith("centre point"):
            _, comma, block = purpose.partition(", block")
            purpose = f"repeat of melt {earlier}{comma}{block}"
        numbered.append(PlannedMelt(melt, first_firing + int(firing), melt, series.settings(drawn.raw[row]), purpose))
    return tuple(numbered)

"""From a series to a plan: a pattern or an optimal design, kept within limits, dealt out to firings, put in order."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
import numpy.typing as npt
from scipy import linalg

from meltdoe.errors import WrongUsage
from meltdoe.plans.designs_offered import TITLES, design_named
from meltdoe.plans.keep_limits import limits_in_words, move_into_limits
from meltdoe.plans.layout import Layout, group_numbers, lay_out
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.plans.optimal_melts import default_melts, optimal_melts
from meltdoe.plans.patterns import (
    Pattern,
    centre_pattern,
    fraction_pattern,
    full_pattern,
    plackett_burman_pattern,
    three_level_pattern,
)
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.room import Room, firing_sizes, room_left
from meltdoe.plans.space_filling import spread_out
from meltdoe.series.factor import FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.terms import main_terms

__all__ = ["make_plan"]

# A pattern some of whose melts were moved must keep this share of its efficiency for main effects: our own choice.
_LEAST_KEPT = 0.6
_MOST_OF_PATTERN_MOVED = 0.34
_THREE_LEVELS = ("definitive-screening", "box-behnken", "central-composite")


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
) -> Plan:
    """Draw up a plan that keeps every limit, every step, the firings and the budget.

    Parameters
    ----------
    design : one of `meltdoe.plans.designs_offered.DESIGNS`.
    melts : how many, centre points not counted; None lets the design and the budget decide, where "auto" keeps a
        third of the budget back for following up.
    seed : gives the order of the work and the starts of searches; the series' own where None. The same seed gives the
        same plan.
    first_melt, first_firing : numbers to count on from; what comes before them is taken off the budget.
    existing : (n_made, n_factors) raw settings of melts already made, which an optimal design completes.
    centre_points : melts in the middle of the amounts, added to the design.

    Raises
    ------
    PlanImpossible
        Where factors, limits, firings or budget do not allow it; says what to change.
    WrongUsage
        For a design that does not exist or numbers that mean nothing.
    """
    name = _checked(design, melts, first_melt, first_firing, centre_points)
    made = 0 if existing is None else len(existing)
    whole = room_left(series, max(first_melt - 1, made), first_firing - 1)
    room = _without_centre_points(whole, centre_points)
    seed = series.seed if seed is None else seed
    rng = np.random.default_rng(seed)
    if name == "auto" and melts is None:
        try:
            drawn = _automatic(series, melts, room.first_part(), rng, existing, centre_points)
        except PlanImpossible:
            drawn = _automatic(series, melts, room, rng, existing, centre_points)
    elif name == "auto":
        drawn = _automatic(series, melts, room, rng, existing, centre_points)
    else:
        drawn = _drawn(series, name, melts, room, rng, existing, centre_points)
    whole.refuse(len(drawn.raw), int(drawn.layout.firing.max()) + 1)
    return Plan(series, _numbered(series, drawn, first_melt, first_firing), drawn.design, drawn.reason, seed)


def _checked(design: str, melts: int | None, first_melt: int, first_firing: int, centre_points: int) -> str:
    try:
        name = design_named(design)
    except ValueError as unknown:
        raise WrongUsage(str(unknown)) from unknown
    if melts is not None and melts < 1:
        raise WrongUsage(f"a plan has at least one melt, not {melts}")
    if first_melt < 1 or first_firing < 1:
        raise WrongUsage("melts and firings are counted from 1")
    if centre_points < 0:
        raise WrongUsage(f"the number of centre points cannot be negative, got {centre_points}")
    return name


def _without_centre_points(room: Room, count: int) -> Room:
    """The room that centre points leave; where nothing is set per firing they fill up firings of other melts."""
    firings = ceil(count / room.series.kiln.melts_per_firing) if room.series.per_firing else 0
    costs = room.series.costs
    return Room(
        room.series,
        None if room.melts is None else max(0, room.melts - count),
        None if room.firings is None else max(0, room.firings - firings),
        None if room.money is None else room.money - costs.melt * count - costs.firing * firings,
    )


def _automatic(
    series: MeltSeries,
    melts: int | None,
    room: Room,
    rng: np.random.Generator,
    existing: FloatArray | None,
    centre_points: int,
) -> _Drawn:
    """A fraction where it fits; Plackett-Burman where its number of melts was asked for; else an optimal design."""
    if existing is None and not series.terms:
        wanted = ["fraction"] if melts is None or melts not in (12, 20, 24) else []
        wanted += ["plackett-burman"] if melts in (12, 20, 24) and len(series.factors) >= 5 else []
        for name in wanted:
            try:
                drawn = _drawn(
                    series, name, melts, room, np.random.default_rng(rng.integers(2**32)), None, centre_points
                )
            except PlanImpossible:
                continue
            if np.mean([purpose.endswith("a limit") for purpose in drawn.purpose]) <= _MOST_OF_PATTERN_MOVED:
                return drawn
    return _drawn(series, "optimal", melts, room, rng, existing, centre_points)


def _drawn(
    series: MeltSeries,
    name: str,
    melts: int | None,
    room: Room,
    rng: np.random.Generator,
    existing: FloatArray | None,
    centre_points: int,
) -> _Drawn:
    if name == "optimal":
        return _optimal(series, melts, room, rng, existing, centre_points)
    if name == "space-filling":
        return _space_filling(series, melts, room, rng, centre_points)
    if name == "centre":
        pattern = centre_pattern(series, melts or min(4, max(1, room.most_melts(4))))
    elif name == "fraction":
        pattern = fraction_pattern(series, melts, room)
    elif name == "full":
        pattern = full_pattern(series, melts, room)
    elif name == "plackett-burman":
        pattern = plackett_burman_pattern(series, melts, room)
    else:
        pattern = three_level_pattern(series, name, melts, room)
    return _from_pattern(series, name, pattern, rng, centre_points)


def _from_pattern(
    series: MeltSeries, name: str, pattern: Pattern, rng: np.random.Generator, centre_points: int
) -> _Drawn:
    estimable = name != "centre"
    if centre_points:
        pattern = pattern.plus(centre_pattern(series, centre_points))
    groups = _groups(series, pattern.raw)
    moved = move_into_limits(series, pattern.raw, groups)
    count = int(moved.moved.sum())
    reason = pattern.reason
    if count:
        why = limits_in_words(series, pattern.raw)
        if estimable and _kept(series, pattern.raw, moved.raw) < _LEAST_KEPT:
            raise PlanImpossible(
                f"the limit {why} would move {count} of {len(moved.raw)} melts of the {TITLES.get(name, name)} pattern "
                "so far that it no longer tells the factors apart",
                'take design "optimal", which works within the limits, or narrow the ranges',
            )
        reason += f"; {count} melt{'s were' if count > 1 else ' was'} moved to keep the limit {why}"
    purpose = tuple(
        f"{said}, moved to keep a limit" if shifted else said
        for said, shifted in zip(pattern.purpose, moved.moved, strict=True)
    )
    layout = lay_out(moved.raw, series.coding, series.kiln.melts_per_firing, groups, rng)
    return _Drawn(name, moved.raw, purpose, layout, reason)


def _groups(series: MeltSeries, raw: FloatArray) -> npt.NDArray[np.int64]:
    if not series.per_firing:
        return np.zeros(len(raw), dtype=np.int64)
    return group_numbers(raw, series.per_firing)


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


def _space_filling(
    series: MeltSeries, melts: int | None, room: Room, rng: np.random.Generator, centre_points: int
) -> _Drawn:
    count = melts if melts is not None else default_melts(series, room)
    room.refuse(count, 0)
    sizes = firing_sizes(series, count, room)
    raw = spread_out(series, sizes, rng)
    purpose = ("space-filling",) * count
    reason = f"{count} melts spread evenly over the region, assuming no model"
    return _in_given_firings(series, "space-filling", raw, sizes, purpose, reason, rng, centre_points)


def _optimal(
    series: MeltSeries,
    melts: int | None,
    room: Room,
    rng: np.random.Generator,
    existing: FloatArray | None,
    centre_points: int,
) -> _Drawn:
    count = melts if melts is not None else default_melts(series, room)
    room.refuse(count, 0)
    sizes = firing_sizes(series, count, room)
    found = optimal_melts(series, sizes, existing, int(rng.integers(2**31)))
    return _in_given_firings(
        series, "optimal", found.raw, sizes, ("optimal",) * count, found.reason, rng, centre_points
    )


def _in_given_firings(
    series: MeltSeries,
    design: str,
    raw: FloatArray,
    sizes: tuple[int, ...],
    purpose: tuple[str, ...],
    reason: str,
    rng: np.random.Generator,
    centre_points: int,
) -> _Drawn:
    """Melts whose firings are already settled, firing by firing, with centre points added."""
    groups = np.repeat(np.arange(len(sizes)), sizes)
    if centre_points:
        added = centre_pattern(series, centre_points)
        centre_groups = len(sizes) + _groups(series, added.raw)
        centre = move_into_limits(series, added.raw, centre_groups).raw
        raw, purpose, reason = np.vstack([raw, centre]), purpose + added.purpose, f"{reason}, and {added.reason}"
        groups = np.concatenate([groups, centre_groups])
    if not series.per_firing:
        groups = np.zeros(len(raw), dtype=np.int64)
    return _Drawn(design, raw, purpose, lay_out(raw, series.coding, series.kiln.melts_per_firing, groups, rng), reason)


def _numbered(series: MeltSeries, drawn: _Drawn, first_melt: int, first_firing: int) -> tuple[PlannedMelt, ...]:
    """Melts and firings counted on in the order of the work; a melt equal to an earlier one is called its repeat."""
    numbered: list[PlannedMelt] = []
    seen: dict[bytes, int] = {}
    for place, (row, firing) in enumerate(zip(drawn.layout.order, drawn.layout.firing, strict=True)):
        melt = first_melt + place
        earlier = seen.setdefault(drawn.raw[row].tobytes(), melt)
        purpose = drawn.purpose[row]
        if earlier != melt and purpose != "centre point":
            purpose = f"repeat of melt {earlier}"
        numbered.append(PlannedMelt(melt, first_firing + int(firing), melt, series.settings(drawn.raw[row]), purpose))
    return tuple(numbered)

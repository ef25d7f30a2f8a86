"""Blends of fluxes: simplex designs over amounts that share a total, crossed with what else is varied.

A limit such as ``"soda + potash <= 20"`` makes a mixture of its amounts and the rest: what they leave of the total, be
that a third flux (in the recipe: ``share = "20 - soda - potash"``) or the base glass. The shares

    z_i = (x_i - low_i) / room,   z_rest = 1 - sum z_i,   room = total - sum of the low ends

run over the whole simplex (pseudocomponents), so that a quadratic in the amounts named is Scheffe's quadratic in all
components, the rest among them (slack variable; Cornell 2002, Experiments with Mixtures, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from meltdoe.plans.families.mixtures import simplex_centroid, simplex_lattice
from meltdoe.plans.fractions.fractional import fraction
from meltdoe.plans.patterns import Pattern, refuse_firings, times_over
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.room import Room
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.limit import Limit
from meltdoe.series.limit_parser import Comparison
from meltdoe.series.melt_series import MeltSeries
from meltdoe.wording import listed

__all__ = ["mixture_pattern"]

_MOST_UNASKED = 40
_MOST_OTHERS = 16
_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class _Shared:
    """Amounts that share a total: their places among the factors, and the room above their low ends."""

    limit: Limit
    places: tuple[int, ...]
    room: float


@dataclass(frozen=True, eq=False)
class _Blends:
    """Shares of every component, the rest last, shape (n_blends, components)."""

    name: str
    shares: FloatArray


def mixture_pattern(series: MeltSeries, melts: int | None, room: Room) -> Pattern:
    """Blends of the amounts that share a total, each with every (or a fraction of the) setting of the other factors.

    With `melts` None the most telling blends that fit the room: with three components the simplex centroid, with more
    the lattice of halves.
    """
    shared = _shared_total(series)
    problem: PlanImpossible | None = None
    sizes = []
    for blends, others, said in _choices(series, shared):
        count = len(blends.shares) * len(others)
        sizes.append(count)
        if melts is None and count > room.most_melts(_MOST_UNASKED):
            continue
        if melts is not None and (melts < count or melts % count):
            continue
        repeats = 1 if melts is None else melts // count
        raw = np.tile(_crossed(series, shared, blends, others), (repeats, 1))
        try:
            refuse_firings(series, raw, room)
        except PlanImpossible as impossible:
            problem = problem or impossible
            continue
        named = [series.factor_names[i] for i in shared.places]
        return Pattern(
            raw,
            ("blend",) * len(raw),
            f"{blends.name} of {len(named) + 1} components ({listed([*named, 'what they leave of their total'])}) in "
            f"{len(blends.shares)} blends{said}{times_over(repeats)}: blends show curves and which components help or "
            "hinder each other",
        )
    fitting = ", ".join(str(size) for size in sorted(set(sizes)))
    raise problem or PlanImpossible(
        f"blends of these factors take {fitting} melts"
        + (f", or a multiple, not {melts}" if melts is not None else f", and there is room for {room.most_melts(40)}"),
        'ask for one of these numbers, hold other factors, or take design "optimal"',
    )


def _shared_total(series: MeltSeries) -> _Shared:
    found = [shared for limit in series.limits if (shared := _as_total(series, limit)) is not None]
    if not found:
        raise PlanImpossible(
            'a mixture design needs a limit on the sum of amounts, such as keep = "soda + potash <= 20"; what they '
            "leave of it is the last component",
            'add such a limit, or take design "optimal"',
        )
    shared = max(found, key=lambda one: len(one.places))
    for i in shared.places:
        factor = series.factors[i]
        assert isinstance(factor, Amount)
        if factor.high < factor.low + shared.room * (1 - _TOLERANCE):
            raise PlanImpossible(
                f'{factor.name} ends at {factor.show(factor.high)}, but within the limit "{shared.limit.keep}" a blend '
                f"of it alone would have {factor.show(factor.low + shared.room)}",
                f'raise the high end of {factor.name}, lower the limit, or take design "optimal"',
            )
    return shared


def _as_total(series: MeltSeries, limit: Limit) -> _Shared | None:
    """The limit as a bound on a plain sum of amounts; None where it is none."""
    comparison = limit.comparison
    names = [name for name in series.factor_names if name in comparison.names]
    factors = [factor for name in names if isinstance(factor := series.factor(name), Amount)]
    if not isinstance(comparison, Comparison) or len(factors) < 2 or len(factors) < len(comparison.names):
        return None
    low = np.array([factor.low for factor in factors])
    reach = np.array([factor.high - factor.low for factor in factors])
    # the low ends, one amount raised at a time, and a few places in between
    places = np.vstack([low, low + np.diag(reach), low + reach * np.random.default_rng(0).random((8, len(low)))])
    margin = comparison.margin(dict(zip(names, places.T, strict=True)))
    slope = (margin[0] - margin[1]) / reach[0]
    straight = margin[0] - slope * (places - low).sum(axis=1)
    size = np.abs(margin).max(initial=1.0)
    if not (slope > 0 and margin[0] > 0 and np.allclose(margin, straight, rtol=0, atol=1e-9 * size)):
        return None
    return _Shared(limit, tuple(series.factor_names.index(name) for name in names), float(margin[0] / slope))


def _choices(series: MeltSeries, shared: _Shared) -> Iterator[tuple[_Blends, FloatArray, str]]:
    """Blends and settings of the other factors, the most telling first."""
    components = len(shared.places) + 1
    halves = _Blends(f"the simplex lattice {{{components}, 2}}", simplex_lattice(components, 2))
    centroid = _Blends("the simplex centroid", simplex_centroid(components))
    thirds = _Blends(f"the simplex lattice {{{components}, 3}}", simplex_lattice(components, 3))
    pure = _Blends("the pure components", simplex_lattice(components, 1))
    ranked = [centroid, halves, thirds] if components == 3 else [halves, centroid, thirds]
    for blends in (*ranked, pure):
        for others, said in _others(series, shared):
            yield blends, others, said


def _others(series: MeltSeries, shared: _Shared) -> Iterator[tuple[FloatArray, str]]:
    """Raw settings of the factors outside the mixture, all combinations first, and how that is said."""
    rest = [i for i in range(len(series.factors)) if i not in shared.places]
    if not rest:
        yield np.empty((1, 0)), ""
        return
    names = listed([series.factor_names[i] for i in rest])
    factors = [series.factors[i] for i in rest]
    levels = [[f.low, f.high] if isinstance(f, Amount) else list(map(float, f.grid())) for f in factors]
    if np.prod([len(values) for values in levels], dtype=float) <= _MOST_OTHERS:
        yield np.array(list(product(*levels))), f", each at every combination of {names}"
    if all(len(values) == 2 for values in levels):
        ends = np.array(levels)
        for runs in (8, 4):
            if len(rest) < runs < 2 ** len(rest):
                high = fraction(len(rest), runs).table > 0
                yield np.where(high, ends[:, 1], ends[:, 0]), f", each at a fraction of the combinations of {names}"


def _crossed(series: MeltSeries, shared: _Shared, blends: _Blends, others: FloatArray) -> FloatArray:
    rest = [i for i in range(len(series.factors)) if i not in shared.places]
    raw = np.empty((len(others) * len(blends.shares), len(series.factors)))
    raw[:, rest] = np.repeat(others, len(blends.shares), axis=0)
    raw[:, list(shared.places)] = np.tile(_on_steps(series, shared, blends.shares[:, :-1]), (len(others), 1))
    return raw


def _on_steps(series: MeltSeries, shared: _Shared, shares: FloatArray) -> FloatArray:
    """Amounts on their steps whose sum keeps the total: what was rounded up most is lowered again."""
    factors = [factor for i in shared.places if isinstance(factor := series.factors[i], Amount)]
    amounts = np.array([factor.low for factor in factors]) + shared.room * shares
    found = np.column_stack([factor.snap(column) for factor, column in zip(factors, amounts.T, strict=True)])
    names = [factor.name for factor in factors]
    for row, wanted in zip(found, amounts, strict=True):
        while not shared.limit.holds({name: row[i : i + 1] for i, name in enumerate(names)}).all():
            i = int(np.argmax(row - wanted))
            below = factors[i].grid(401)
            row[i] = below[below < row[i] - _TOLERANCE].max(initial=below[0])
    if len(np.unique(found, axis=0)) < len(found):
        raise PlanImpossible(
            f'the steps of {listed(names)} are too coarse for blends within "{shared.limit.keep}"',
            'make the steps smaller, or take design "optimal"',
        )
    return found

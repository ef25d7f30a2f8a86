"""Textbook patterns as raw settings of a series: two levels, three levels, and centre points.

A pattern is a table in standard order. Firings and the order of the work come later (`meltdoe.plans.layout`).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, islice, product

import numpy as np
import numpy.typing as npt

from meltdoe.plans.designs_offered import TITLES
from meltdoe.plans.layout import firings_needed, group_numbers
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.room import Room
from meltdoe.series.factor import Amount, Factor, FloatArray, Ordered
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "Pattern", "centre_pattern", "flipped_for_limits", "full_pattern", "plackett_burman_pattern", "raw_settings",
    "refuse_firings", "three_level_pattern", "times_over", "two_levels_only",
]  # fmt: skip

IntArray = npt.NDArray[np.int64]
_PLACKETT_BURMAN_RUNS = (12, 20, 24, 28, 36, 40, 44, 48)
_MOST_FULL = 64
_MOST_ASSIGNMENTS = 300


@dataclass(frozen=True, eq=False)
class Pattern:
    """A table of settings, before firings and order.

    Parameters
    ----------
    raw : (n_melts, n_factors) raw settings, whether or not they keep the limits.
    purpose : what each melt is for.
    reason : what the pattern is and what it can do, as the beginning of a sentence.
    firing : (n_melts,) firing of each melt, from 0, where the pattern says so; None where melts are dealt out.
    block : (n_melts,) block of each melt, from 0, where blocks were asked for and the pattern says which.
    """

    raw: FloatArray
    purpose: tuple[str, ...]
    reason: str
    firing: IntArray | None = None
    block: IntArray | None = None

    def plus(self, other: Pattern) -> Pattern:
        """Both tables, one after the other."""
        return Pattern(
            np.vstack([self.raw, other.raw]), self.purpose + other.purpose, f"{self.reason}, and {other.reason}"
        )


def full_pattern(series: MeltSeries, melts: int | None, room: Room) -> Pattern:
    """Every combination of the ends of amounts and of all options, repeated where `melts` is a multiple."""
    levels = [[f.low, f.high] if isinstance(f, Amount) else list(map(float, f.grid())) for f in series.factors]
    count = int(np.prod([len(values) for values in levels], dtype=object))
    if count > _MOST_FULL:
        raise PlanImpossible(
            f"every combination of {len(levels)} factors takes {count} melts",
            'take design "fraction" or "optimal", or vary fewer factors',
        )
    if melts is not None and (melts < count or melts % count):
        raise PlanImpossible(
            f"every combination of {len(levels)} factors takes {count} melts or a multiple of that, not {melts}",
            f'ask for {count} melts, or take design "fraction" or "optimal"',
        )
    repeats = 1 if melts is None else melts // count
    raw = np.tile(np.array(list(product(*levels)), dtype=float), (repeats, 1))
    refuse_firings(series, raw, room)
    said = f"every combination of the ends and options of {len(levels)} factor{'s' * (len(levels) > 1)}"
    return Pattern(raw, ("full factorial",) * len(raw), said + times_over(repeats))


def plackett_burman_pattern(series: MeltSeries, melts: int | None, room: Room) -> Pattern:
    """Plackett-Burman in 12, 20, 24, ... 48 melts, its per-firing factors on the columns that take fewest firings."""
    from meltdoe.plans.families.screening import plackett_burman

    two_levels_only(series, "a Plackett-Burman design")
    k = len(series.factors)
    fitting = [runs for runs in _PLACKETT_BURMAN_RUNS if runs > k]
    if not fitting or (melts is not None and melts not in fitting):
        raise PlanImpossible(
            f"a Plackett-Burman design of {k} factors has {', '.join(map(str, fitting)) or 'more than 48'} melts"
            + (f", not {melts}" if melts is not None else ""),
            f'ask for {fitting[0]} melts, or take design "fraction" or "optimal"' if fitting else "vary fewer factors",
        )
    runs = melts or fitting[0]
    room.refuse(runs, 0)
    table = plackett_burman(runs)
    raw = flipped_for_limits(series, _columns_for(series, table))
    refuse_firings(series, raw, room)
    return Pattern(
        raw,
        ("Plackett-Burman",) * runs,
        f"a Plackett-Burman design of {k} factors in {runs} melts: main effects are independent of each other and "
        "partly mixed up with the interactions of other factors",
    )


def three_level_pattern(series: MeltSeries, design: str, melts: int | None, room: Room) -> Pattern:
    """Definitive screening, Box-Behnken or (face-centred) central composite: low, middle and high of every factor."""
    from meltdoe.plans.families.response_surface import box_behnken, central_composite
    from meltdoe.plans.families.screening import definitive_screening

    title = TITLES[design]
    k = len(series.factors)
    with_middle = [
        i
        for i, factor in enumerate(series.factors)
        if isinstance(factor, Amount) or (isinstance(factor, Ordered) and len(factor.options) % 2)
    ]
    choices = [i for i in range(k) if i not in with_middle]
    for i in choices:
        factor = series.factors[i]
        if design != "definitive-screening" or isinstance(factor, Amount) or len(factor.options) > 2:
            raise PlanImpossible(
                f'factor "{factor.name}" has no middle between its options, which a {title} design needs',
                'take design "optimal", or vary amounts only',
            )
    try:
        if design == "definitive-screening":
            what = "main effects are independent of squares and interactions"
            coded = definitive_screening(k, len(choices))
            if choices:
                order = np.argsort([*with_middle, *choices], kind="stable")
                coded = coded[:, order]
            else:
                coded = _columns_for(series, coded)
        elif design == "box-behnken":
            coded, what = box_behnken(k), "squares and interactions can be estimated without the extreme corners"
        else:
            coded, what = central_composite(k, axial="face"), "squares and interactions can be estimated"
    except ValueError as wrong:
        raise PlanImpossible(str(wrong), 'take design "optimal"') from wrong
    if melts is not None and (melts < len(coded) or melts % len(coded)):
        raise PlanImpossible(
            f"a {title} design of {k} factors has {len(coded)} melts or a multiple of that, not {melts}",
            f'ask for {len(coded)} melts, or take design "optimal"',
        )
    repeats = 1 if melts is None else melts // len(coded)
    coded = np.tile(coded, (repeats, 1))
    raw = raw_settings(series, coded)
    refuse_firings(series, raw, room)
    middle = (coded[:, with_middle] == 0).all(axis=1)
    purpose = tuple("centre point" if centre else title for centre in middle)
    said = f"a {title} design of {k} factors in {len(coded) // repeats} melts{times_over(repeats)}: {what}"
    return Pattern(raw, purpose, said)


def centre_pattern(series: MeltSeries, count: int) -> Pattern:
    """`count` melts in the middle of the amounts; per-melt options are spread evenly over them."""
    middle = series.coding.centre()
    raw = np.tile([float(f.snap(middle[i : i + 1])[0]) for i, f in enumerate(series.factors)], (count, 1))
    listed = [i for i, f in enumerate(series.factors) if not isinstance(f, Amount) and i not in series.per_firing]
    number = np.arange(count)
    for place, i in enumerate(listed):
        options = len(series.factors[i].grid())
        raw[:, i] = (number + number // options * place) % options
    return Pattern(
        raw,
        ("centre point",) * count,
        f"{count} centre point{'s' * (count > 1)} that show curvature and how far equal melts differ",
    )


def times_over(repeats: int) -> str:
    """``", 3 times"`` behind what is made more than once; nothing otherwise."""
    return f", {repeats} times" if repeats > 1 else ""


def two_levels_only(series: MeltSeries, design: str) -> None:
    """Raise PlanImpossible where a factor has more than two options."""
    for factor in series.factors:
        if not isinstance(factor, Amount) and len(factor.options) > 2:
            raise PlanImpossible(
                f'factor "{factor.name}" has {len(factor.options)} options and {design} takes two',
                'take design "optimal", which uses every option, or keep two of them',
            )


def raw_settings(series: MeltSeries, coded: FloatArray) -> FloatArray:
    """-1..+1 to raw settings on the steps."""
    return np.column_stack([_raw_column(factor, coded[:, i]) for i, factor in enumerate(series.factors)])


def _raw_column(factor: Factor, coded: FloatArray) -> FloatArray:
    if isinstance(factor, Amount):
        inner = np.clip(factor.snap(factor.decoded(coded)), factor.low, factor.high)
        return np.where(coded <= -1.0, factor.low, np.where(coded >= 1.0, factor.high, inner))
    return factor.snap((coded + 1.0) / 2.0 * (len(factor.options) - 1))


def _columns_for(series: MeltSeries, table: FloatArray) -> FloatArray:
    """A column per factor, those of the per-firing factors chosen so that few firings are needed."""
    k, whole = len(series.factors), list(series.per_firing)
    if not whole:
        return table[:, :k]

    def firings(columns: tuple[int, ...]) -> int:
        return firings_needed(group_numbers(table, columns), series.kiln.melts_per_firing)

    tried = islice(combinations(range(table.shape[1]), len(whole)), _MOST_ASSIGNMENTS)
    best = min(tried, key=firings)
    rest = iter([c for c in range(table.shape[1]) if c not in best])
    of_whole = dict(zip(whole, best, strict=True))
    return table[:, [of_whole[i] if i in of_whole else next(rest) for i in range(k)]]


def flipped_for_limits(series: MeltSeries, coded: FloatArray) -> FloatArray:
    """Raw settings of the sign reversal of columns that breaks the limits in fewest melts."""
    raw = raw_settings(series, coded)
    if series.allowed(raw).all():
        return raw
    named = frozenset().union(*(limit.comparison.names for limit in series.limits))
    places = [i for i, name in enumerate(series.factor_names) if name in named][:8]
    best, fewest = raw, int((~series.allowed(raw)).sum())
    for signs in product((1.0, -1.0), repeat=len(places)):
        trial = coded.copy()
        trial[:, places] *= signs
        flipped = raw_settings(series, trial)
        broken = int((~series.allowed(flipped)).sum())
        if broken < fewest:
            best, fewest = flipped, broken
    return best


def refuse_firings(series: MeltSeries, table: FloatArray, room: Room) -> None:
    groups = group_numbers(table, series.per_firing) if series.per_firing else np.zeros(len(table), dtype=np.int64)
    room.refuse(len(table), firings_needed(groups, series.kiln.melts_per_firing))

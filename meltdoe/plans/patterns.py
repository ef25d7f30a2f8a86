"""Textbook patterns as raw settings of a series: two levels, three levels, and centre points.

A pattern is a table in standard order. Firings and the order of the work come later (`meltdoe.plans.layout`).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, islice, product

import numpy as np

from meltdoe.plans.designs_offered import TITLES
from meltdoe.plans.fractional import Fraction, fraction
from meltdoe.plans.layout import firings_needed, group_numbers
from meltdoe.plans.minimum_aberration import in_first_independent
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.room import Room
from meltdoe.plans.split_plot_fraction import least_firings, split_plot_columns, usable_ranks
from meltdoe.series.factor import Amount, Factor, FloatArray, Ordered
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "Pattern", "centre_pattern", "fraction_pattern", "full_pattern", "plackett_burman_pattern", "three_level_pattern",
    "two_levels_only",
]  # fmt: skip

_RUNS = (4, 8, 16, 32)
_MOST_UNASKED = 32
_PLACKETT_BURMAN_RUNS = (12, 20, 24)
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
    """

    raw: FloatArray
    purpose: tuple[str, ...]
    reason: str

    def plus(self, other: Pattern) -> Pattern:
        """Both tables, one after the other."""
        return Pattern(
            np.vstack([self.raw, other.raw]), self.purpose + other.purpose, f"{self.reason}, and {other.reason}"
        )


def fraction_pattern(series: MeltSeries, melts: int | None, room: Room) -> Pattern:
    """The two-level fraction of minimum aberration, its per-firing factors in few firings.

    With `melts` None: the smallest that keeps main effects clear of two-factor interactions (resolution IV), or else
    the largest that fits the room.
    """
    two_levels_only(series, "a two-level fraction")
    k = len(series.factors)
    if melts is not None:
        chosen = _fraction_in(series, melts, room)
    else:
        most = room.most_melts(_MOST_UNASKED)
        found: list[Fraction] = []
        problem: PlanImpossible | None = None
        for runs in _RUNS:
            if runs > min(most, 2**k) or (runs == 4 and most >= 8 and k > 2) or runs <= k:
                continue
            try:
                found.append(_fraction_in(series, runs, room))
            except PlanImpossible as impossible:
                problem = impossible
        if not found:
            fewest = 2 ** k.bit_length()
            raise problem or PlanImpossible(
                f"a two-level fraction of {k} factors takes at least {fewest} melts and there is room for {most}",
                "vary fewer factors or raise the budget",
            )
        chosen = next((f for f in found if (f.resolution or 9) >= 4), found[-1])
    repeats = 1 if melts is None else melts // chosen.runs
    raw = _flipped_for_limits(series, np.tile(chosen.table, (repeats, 1)))
    return Pattern(raw, ("fraction" if chosen.generators else "full factorial",) * len(raw), _about(chosen, repeats))


def _about(chosen: Fraction, repeats: int) -> str:
    k = len(chosen.factors)
    if not chosen.generators:
        said = f"every combination of two levels of {k} factor{'s' * (k > 1)}"
        return said + (f", {repeats} times" if repeats > 1 else "")
    roman = {3: "III", 4: "IV", 5: "V", 6: "VI", 7: "VII", 8: "VIII", 9: "IX"}[chosen.resolution or 9]
    generators = ", ".join(chosen.generators)
    return f"a two-level fraction of {k} factors in {chosen.runs} melts, resolution {roman} ({generators})"


def _fraction_in(series: MeltSeries, melts: int, room: Room) -> Fraction:
    """The fraction in `melts` runs whose per-firing factors fit the firings left."""
    names = series.factor_names
    k, whole = len(names), [series.factor_names[i] for i in series.per_firing]
    if melts not in _RUNS:
        near = [n for n in _RUNS if n > k]
        raise PlanImpossible(
            f"a two-level fraction has 4, 8, 16 or 32 melts, not {melts}",
            f'ask for {" or ".join(map(str, near))} melts, or take design "optimal"',
        )
    if melts <= k:
        raise PlanImpossible(
            f"{melts} melts hold at most {melts - 1} two-level factors, not {k}",
            f"ask for {2 ** k.bit_length()} melts or vary fewer factors",
        )
    runs = min(melts, 2**k)
    if k == 1:
        return Fraction(names, 2, (1,))
    if not whole or runs == 2**k or series.kiln.melts_per_firing == 1:
        chosen = fraction(names, runs)
        _refuse_firings(series, np.tile(chosen.table, (melts // runs, 1)), room)
        return chosen
    sub = [name for name in names if name not in whole]
    ranks = usable_ranks(len(whole), len(sub), runs)
    if not ranks:
        raise PlanImpossible(
            f"in {melts} melts the settings of {', '.join(whole)}, which stay the same within a firing, leave no "
            "room for the factors that are set per melt",
            f'ask for {2 * melts} melts, or take design "optimal"',
        )
    fitting = [q for q in ranks if _fits(series, q, runs, room)]
    if not fitting:
        fewest = min(least_firings(q, runs, series.kiln.melts_per_firing) for q in ranks)
        if room.firings is None or fewest <= room.firings:
            room.refuse(melts, fewest)
        raise PlanImpossible(
            f"a fraction in {melts} melts takes at least {fewest} firings, since {', '.join(whole)} "
            f"stay{'s' * (len(whole) == 1)} the same within a firing, and the budget leaves {room.firings}",
            'take design "optimal", fewer melts or more firings',
        )
    options = [(_judged(series, q, runs, len(whole)), _ordered(names, whole, sub, runs, q)) for q in fitting]
    return min(options, key=lambda pair: (not pair[0], pair[1].word_lengths))[1]


def _fits(series: MeltSeries, rank: int, runs: int, room: Room) -> bool:
    firings = least_firings(rank, runs, series.kiln.melts_per_firing)
    return (room.firings is None or firings <= room.firings) and room.affords(runs, firings)


def _judged(series: MeltSeries, rank: int, runs: int, per_firing: int) -> bool:
    """Whether firings are left over from which the difference between firings can be judged."""
    return least_firings(rank, runs, series.kiln.melts_per_firing) > per_firing + 1


def _ordered(names: tuple[str, ...], whole: list[str], sub: list[str], runs: int, rank: int) -> Fraction:
    """The split-plot fraction with its factors in the order of the series."""
    try:
        columns = dict(zip([*whole, *sub], split_plot_columns(len(whole), len(sub), runs, rank), strict=True))
    except ValueError as too_many:
        raise PlanImpossible(str(too_many), 'take design "optimal" or vary fewer factors') from too_many
    return Fraction(names, runs, tuple(in_first_independent([columns[name] for name in names])))


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
    _refuse_firings(series, raw, room)
    said = f"every combination of the ends and options of {len(levels)} factor{'s' * (len(levels) > 1)}"
    return Pattern(raw, ("full factorial",) * len(raw), said + (f", {repeats} times" if repeats > 1 else ""))


def plackett_burman_pattern(series: MeltSeries, melts: int | None, room: Room) -> Pattern:
    """Plackett-Burman in 12, 20 or 24 melts, its per-firing factors on the columns that take fewest firings."""
    from meltdoe.plans.screening import plackett_burman

    two_levels_only(series, "a Plackett-Burman design")
    k = len(series.factors)
    fitting = [runs for runs in _PLACKETT_BURMAN_RUNS if runs > k]
    if not fitting or (melts is not None and melts not in fitting):
        raise PlanImpossible(
            f"a Plackett-Burman design of {k} factors has {' or '.join(map(str, fitting)) or 'more than 24'} melts"
            + (f", not {melts}" if melts is not None else ""),
            f'ask for {fitting[0]} melts, or take design "fraction" or "optimal"' if fitting else "vary fewer factors",
        )
    runs = melts or fitting[0]
    room.refuse(runs, 0)
    table = plackett_burman(runs)
    raw = _flipped_for_limits(series, _columns_for(series, table))
    _refuse_firings(series, raw, room)
    return Pattern(
        raw,
        ("Plackett-Burman",) * runs,
        f"a Plackett-Burman design of {k} factors in {runs} melts: main effects are independent of each other and "
        "partly mixed up with the interactions of other factors",
    )


def three_level_pattern(series: MeltSeries, design: str, melts: int | None, room: Room) -> Pattern:
    """Definitive screening, Box-Behnken or (face-centred) central composite: low, middle and high of every factor."""
    from meltdoe.plans.response_surface import box_behnken, central_composite
    from meltdoe.plans.screening import definitive_screening

    title = TITLES[design]
    for factor in series.factors:
        if not (isinstance(factor, Amount) or (isinstance(factor, Ordered) and len(factor.options) % 2)):
            raise PlanImpossible(
                f'factor "{factor.name}" has no middle between its options, which a {title} design needs',
                'take design "optimal", or vary amounts only',
            )
    k = len(series.factors)
    try:
        if design == "definitive-screening":
            coded, what = definitive_screening(k), "main effects are independent of squares and interactions"
            coded = _columns_for(series, coded)
        elif design == "box-behnken":
            coded, what = box_behnken(k), "squares and interactions can be estimated without the extreme corners"
        else:
            coded, what = central_composite(k, axial="face"), "squares and interactions can be estimated"
    except ValueError as wrong:
        raise PlanImpossible(str(wrong), 'take design "optimal"') from wrong
    if melts is not None and melts != len(coded):
        raise PlanImpossible(
            f"a {title} design of {k} factors has {len(coded)} melts, not {melts}",
            f'ask for {len(coded)} melts, or take design "optimal"',
        )
    raw = _raw(series, coded)
    _refuse_firings(series, raw, room)
    middle = (coded == 0).all(axis=1)
    purpose = tuple("centre point" if centre else title for centre in middle)
    return Pattern(raw, purpose, f"a {title} design of {k} factors in {len(raw)} melts: {what}")


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


def two_levels_only(series: MeltSeries, design: str) -> None:
    """Raise PlanImpossible where a factor has more than two options."""
    for factor in series.factors:
        if not isinstance(factor, Amount) and len(factor.options) > 2:
            raise PlanImpossible(
                f'factor "{factor.name}" has {len(factor.options)} options and {design} takes two',
                'take design "optimal", which uses every option, or keep two of them',
            )


def _raw(series: MeltSeries, coded: FloatArray) -> FloatArray:
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


def _flipped_for_limits(series: MeltSeries, coded: FloatArray) -> FloatArray:
    """Raw settings of the sign reversal of columns that breaks the limits in fewest melts."""
    raw = _raw(series, coded)
    if series.allowed(raw).all():
        return raw
    named = frozenset().union(*(limit.comparison.names for limit in series.limits))
    places = [i for i, name in enumerate(series.factor_names) if name in named][:8]
    best, fewest = raw, int((~series.allowed(raw)).sum())
    for signs in product((1.0, -1.0), repeat=len(places)):
        trial = coded.copy()
        trial[:, places] *= signs
        flipped = _raw(series, trial)
        broken = int((~series.allowed(flipped)).sum())
        if broken < fewest:
            best, fewest = flipped, broken
    return best


def _refuse_firings(series: MeltSeries, table: FloatArray, room: Room) -> None:
    groups = group_numbers(table, series.per_firing) if series.per_firing else np.zeros(len(table), dtype=np.int64)
    room.refuse(len(table), firings_needed(groups, series.kiln.melts_per_firing))

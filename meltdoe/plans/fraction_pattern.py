"""The two-level fraction of a series: as few melts as serve, per-firing factors in few firings, firings as blocks."""

from __future__ import annotations

import numpy as np

from meltdoe.plans.fractions.blocking import blocks
from meltdoe.plans.fractions.fractional import Fraction, fraction
from meltdoe.plans.fractions.minimum_aberration import in_first_independent
from meltdoe.plans.fractions.split_plot_fraction import least_firings, split_plot_columns, usable_ranks
from meltdoe.plans.patterns import (
    IntArray,
    Pattern,
    flipped_for_limits,
    raw_settings,
    refuse_firings,
    times_over,
    two_levels_only,
)
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.room import Room
from meltdoe.series.melt_series import MeltSeries

__all__ = ["fraction_pattern"]

_RUNS = (4, 8, 16, 32, 64, 128)
_MOST_UNASKED = 32
_FEWEST_UNASKED = 8
_ROMAN = ("III", "IV", "V", "VI", "VII", "VIII", "IX")
# what a resolution is good for, by its number: Box and Hunter (1961), Technometrics 3
_RESOLUTION_MEANS = {
    3: "main effects are mixed up with interactions of two factors",
    4: "main effects are clear of interactions of two factors, which are mixed up with each other",
    5: "main effects and interactions of two factors are clear of each other",
}

Pairs = tuple[tuple[str, str], ...]


def fraction_pattern(
    series: MeltSeries, melts: int | None, room: Room, clear: Pairs = (), *, blocks_asked: int = 1, added: bool = False
) -> Pattern:
    """The two-level fraction of minimum aberration, its per-firing factors in few firings.

    With `melts` None: the smallest that keeps `clear` clear and main effects clear of two-factor interactions
    (resolution IV), or else the largest that fits the room; every combination of few factors more than once, up to
    eight melts. Firings are blocks of the fraction where that works out.

    Parameters
    ----------
    blocks_asked : blocks that the melts are to be divided into.
    added : whether melts will be added, which would break the blocks.
    """
    two_levels_only(series, "a two-level fraction")
    k = len(series.factors)
    chosen = _fraction_in(series, melts, room, clear) if melts is not None else _smallest(series, room, clear)
    repeats = _repeats_unasked(series, chosen, room) if melts is None else melts // chosen.runs
    raw = flipped_for_limits(series, np.tile(chosen.table, (repeats, 1)))
    reason = _about(chosen, repeats)
    if clear and chosen.generators:
        reason += f"; clear of all others, as asked: {', '.join(' * '.join(pair) for pair in clear)}"
    firing = block = None
    said = ""
    if blocks_asked > 1 and not added and k > 1:
        block = _blocks_of(series, chosen, repeats, blocks_asked)
    elif not added and k > 1:
        firing, said = _firings_as_blocks(series, chosen, repeats)
    purpose = ("fraction" if chosen.generators else "full factorial",) * len(raw)
    return Pattern(raw, purpose, reason + said, firing, block)


def _repeats_unasked(series: MeltSeries, chosen: Fraction, room: Room) -> int:
    """How often: once, or where every combination is made as often as eight melts and the room allow."""
    repeats = 1 if chosen.generators else max(1, room.most_melts(_FEWEST_UNASKED) // chosen.runs)
    for times in range(repeats, 1, -1):
        try:
            refuse_firings(series, raw_settings(series, np.tile(chosen.table, (times, 1))), room)
        except PlanImpossible:
            continue
        return times
    return 1


def _blocks_of(series: MeltSeries, chosen: Fraction, repeats: int, count: int) -> IntArray | None:
    """Blocks at the least loss; a block for each repeat where they agree; None where melts must be dealt out."""
    if series.per_firing:
        return None
    if repeats == count:
        return np.repeat(np.arange(count), chosen.runs)
    if repeats > 1:
        return None
    try:
        return blocks(chosen, count).block - 1
    except ValueError:
        return None


def _smallest(series: MeltSeries, room: Room, clear: Pairs) -> Fraction:
    k, most = len(series.factors), room.most_melts(_MOST_UNASKED)
    found: list[Fraction] = []
    problem: PlanImpossible | None = None
    for runs in _RUNS:
        if runs > min(most, 2**k) or (runs == 4 and most >= 8 and k > 2) or runs <= k:
            continue
        try:
            found.append(_fraction_in(series, runs, room, clear))
        except PlanImpossible as impossible:
            problem = impossible
    if not found:
        fewest = 2 ** k.bit_length()
        raise problem or PlanImpossible(
            f"a two-level fraction of {k} factors takes at least {fewest} melts and there is room for {most}",
            "vary fewer factors or raise the budget",
        )
    if clear:
        return found[0]
    return next((f for f in found if (f.resolution or 9) >= 4), found[-1])


def _about(chosen: Fraction, repeats: int) -> str:
    k = len(chosen.factors)
    if not chosen.generators:
        said = f"every combination of two levels of {k} factor{'s' * (k > 1)}"
        return said + times_over(repeats)
    number = chosen.resolution or 9
    means = _RESOLUTION_MEANS[min(number, 5)]
    return (
        f"a two-level fraction of {k} factors in {chosen.runs} melts, resolution {_ROMAN[number - 3]}, that is, "
        f"{means} ({', '.join(chosen.generators)})"
    )


def _firings_as_blocks(series: MeltSeries, chosen: Fraction, repeats: int) -> tuple[IntArray | None, str]:
    """Firings as blocks where nothing is set per firing and the fraction divides evenly, and what they carry."""
    per_firing = series.kiln.melts_per_firing
    size = 1 << (per_firing.bit_length() - 1)
    count = chosen.runs // size
    if series.per_firing or repeats > 1 or size == 1 or count not in (2, 4, 8) or count > -(-chosen.runs // per_firing):
        return None, ""
    try:
        divided = blocks(chosen, count)
    except ValueError:
        return None, ""
    return divided.block - 1, (
        f"; the {count} firings carry {', '.join(divided.words)}, which cannot be told from differences between firings"
    )


def _fraction_in(series: MeltSeries, melts: int, room: Room, clear: Pairs) -> Fraction:
    """The fraction in `melts` runs whose per-firing factors fit the firings left."""
    names = series.factor_names
    k, whole = len(names), [series.factor_names[i] for i in series.per_firing]
    if melts not in _RUNS:
        near = [n for n in _RUNS if n > k][:3]
        raise PlanImpossible(
            f"a two-level fraction has 4, 8, 16, 32, 64 or 128 melts, not {melts}",
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
        try:
            chosen = fraction(names, runs, clear=clear)
        except ValueError as none:
            raise PlanImpossible(str(none).replace(" runs", " melts").split("; ")[0], _more(runs)) from none
        refuse_firings(series, np.tile(chosen.table, (melts // runs, 1)), room)
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
    options = [
        (_judged(series, q, runs, len(whole)), found)
        for q in fitting
        if (found := _ordered(names, whole, sub, runs, q, clear)) is not None
    ]
    if not options:
        raise PlanImpossible(
            f"there is no fraction of {k} factors in {melts} melts that keeps "
            f"{' and '.join(' * '.join(pair) for pair in clear)} clear of other effects while {' and '.join(whole)} "
            f"stay{'s' * (len(whole) == 1)} the same within a firing (all were tried)",
            _more(runs),
        )
    return min(options, key=lambda pair: (not pair[0], pair[1].word_lengths))[1]


def _more(runs: int) -> str:
    return f'keep fewer clear, ask for {2 * runs} melts, or take design "optimal"'


def _fits(series: MeltSeries, rank: int, runs: int, room: Room) -> bool:
    firings = least_firings(rank, runs, series.kiln.melts_per_firing)
    return (room.firings is None or firings <= room.firings) and room.affords(runs, firings)


def _judged(series: MeltSeries, rank: int, runs: int, per_firing: int) -> bool:
    """Whether firings are left over from which the difference between firings can be judged."""
    return least_firings(rank, runs, series.kiln.melts_per_firing) > per_firing + 1


def _ordered(
    names: tuple[str, ...], whole: list[str], sub: list[str], runs: int, rank: int, clear: Pairs
) -> Fraction | None:
    """The split-plot fraction with its factors in the order of the series; None where none keeps `clear`."""
    order = [*whole, *sub]
    pairs = tuple(sorted((min(p), max(p)) for pair in clear for p in [(order.index(pair[0]), order.index(pair[1]))]))
    try:
        found = split_plot_columns(len(whole), len(sub), runs, rank, pairs)
    except ValueError as too_many:
        raise PlanImpossible(str(too_many), 'take design "optimal" or vary fewer factors') from too_many
    if found is None:
        return None
    columns = dict(zip(order, found, strict=True))
    return Fraction(names, runs, tuple(in_first_independent([columns[name] for name in names])))

"""What to add to melts already made: a foldover, half of one, or repeats that show how far equal melts differ."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from meltdoe.plans.fractions.foldover import foldover, semifold
from meltdoe.plans.layout import group_numbers
from meltdoe.plans.patterns import Pattern, raw_settings, two_levels_only
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.plan_request import PlanRequest
from meltdoe.plans.room import Room
from meltdoe.series.coding import Coding
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.terms import cross_terms, main_terms

__all__ = ["foldover_pattern", "groups_of", "rows_to_repeat"]

IntArray = npt.NDArray[np.int64]

_MIDDLE = 0.1  # coded distance within which a melt counts as a centre point


def foldover_pattern(request: PlanRequest, room: Room) -> Pattern:
    """The different melts made so far with the signs of factors reversed, or the more telling half of them."""
    series, half = request.series, request.design == "half-foldover"
    two_levels_only(series, "a foldover")
    coded = _coded_ends(series, request.existing)
    if not len(coded):
        raise PlanImpossible(
            "there is no melt yet whose settings a foldover could reverse",
            "make and record the first part, then plan again",
        )
    names = series.factor_names
    flip = [names.index(name) for name in request.reverse] or list(range(len(names)))
    which = "every factor" if not request.reverse else " and ".join(request.reverse)
    table, said = foldover(coded, flip), ""
    if half:
        table, said = _best_half(series.coding, coded, flip)
    count = len(table)
    if request.melts is not None and request.melts != count:
        raise PlanImpossible(
            f"{'half the' if half else 'the'} foldover of what was made has {count} melts, not {request.melts}",
            f"leave the number of melts out, or ask for {count}",
        )
    if room.melts is not None and count > room.melts:
        raise PlanImpossible(
            f"{'half the' if half else 'the'} foldover of what was made takes {count} melts and the budget leaves "
            f"{room.melts}",
            'take design "optimal"' + ("" if half else ', or "half-foldover"') + ", or raise the budget",
        )
    gain = (
        "with the first part, main effects are clear of interactions of two factors"
        if not request.reverse
        else f"with the first part, {which} and {'its' if len(flip) == 1 else 'their'} interactions are clear of other "
        "interactions of two factors"
    )
    reason = f"{'half of the' if half else 'the'} melts made so far with {which} reversed{said}"
    reason += "" if half else f": {gain}"
    return Pattern(raw_settings(series, table), ("half foldover" if half else "foldover",) * count, reason)


def _coded_ends(series: MeltSeries, made: FloatArray | None) -> FloatArray:
    """Different coded settings of the melts made, centre points left aside, shape (n, k)."""
    if made is None:
        return np.empty((0, len(series.factors)))
    columns = []
    for i, factor in enumerate(series.factors):
        if isinstance(factor, Amount):
            columns.append(np.clip(factor.coded(np.clip(made[:, i], factor.low, factor.high)), -1.0, 1.0))
        else:
            columns.append(2.0 * made[:, i] - 1.0)
    coded = np.column_stack(columns)
    amounts = [i for i, factor in enumerate(series.factors) if isinstance(factor, Amount)]
    middle = np.abs(coded[:, amounts]).max(axis=1) < _MIDDLE if amounts else np.zeros(len(coded), dtype=bool)
    kept = coded[np.isfinite(coded).all(axis=1) & ~middle]
    _, first = np.unique(kept, axis=0, return_index=True)
    return np.asarray(kept[np.sort(first)])


def _best_half(coding: Coding, coded: FloatArray, flip: list[int]) -> tuple[FloatArray, str]:
    """The half of a foldover that tells most of main effects and, with prior variance 1, of their interactions."""
    names = coding.names
    best: tuple[float, FloatArray, str] | None = None
    for keep, name in enumerate(names):
        for level, end in ((1.0, "high"), (-1.0, "low")):
            folded = foldover(coded, flip)
            side = np.where(folded[:, keep] >= 0.0, 1.0, -1.0)
            if not (side == level).any() or (side == level).all():
                continue
            if np.isin(folded[:, keep], (-1.0, 1.0)).all():
                half = semifold(coded, flip, keep, level)
            else:  # settings moved for a limit, or off the plan: the nearer end counts
                half = folded[side == level]
            value = _worth(np.vstack([coded, half])) - 1e-9 * len(half)
            if best is None or value > best[0] + 1e-9:
                best = value, half, f", those with {name} at its {end} end"
    if best is None:
        raise PlanImpossible("no factor divides the melts made so far into halves", 'take design "optimal"')
    return best[1], best[2]


def _worth(table: FloatArray) -> float:
    """log |X'X + K| with K = 1 for interactions and next to nothing for main effects."""
    left, right = np.triu_indices(table.shape[1], 1)
    X = np.column_stack([np.ones(len(table)), table, table[:, left] * table[:, right]])
    prior = np.concatenate([np.full(1 + table.shape[1], 1e-6), np.ones(len(left))])
    return float(np.linalg.slogdet(X.T @ X + np.diag(prior))[1])


def rows_to_repeat(series: MeltSeries, raw: FloatArray, count: int, groups: IntArray) -> IntArray:
    """Which rows of a table to make twice for an estimate of how far equal melts differ.

    Different rows as long as there are any, those that also sharpen main effects and interactions most, and rather in
    firings that are not full.

    Parameters
    ----------
    groups : (n,) firing or group of equal per-firing settings of each row.
    """
    coding = series.coding
    X = coding.matrix((*main_terms(series.factors), *cross_terms(series.factors)), raw)
    M = X.T @ X + np.eye(X.shape[1])
    used = np.zeros(len(raw), dtype=np.int64)
    filled = np.bincount(groups).astype(np.int64)
    per_firing = series.kiln.melts_per_firing
    chosen = []
    for _ in range(count):
        gain = ((X @ np.linalg.inv(M)) * X).sum(axis=1)
        full = filled[groups] % per_firing == 0
        row = int(np.lexsort((-gain, full, used))[0])
        chosen.append(row)
        used[row] += 1
        filled[groups[row]] += 1
        M += np.outer(X[row], X[row])
    return np.array(chosen, dtype=np.int64)


def groups_of(series: MeltSeries, raw: FloatArray) -> IntArray:
    """Which melts may share a firing: those of equal per-firing settings, or all."""
    if not series.per_firing:
        return np.zeros(len(raw), dtype=np.int64)
    return group_numbers(raw, series.per_firing)

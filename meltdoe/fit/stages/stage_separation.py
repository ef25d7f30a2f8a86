"""Perfect splits in words: which choices part good from bad melts without exception, and which melts show it.

One factor at a time the split is read off the sorted settings; splits by several factors together come from the
linear programme of `meltdoe.fit.classical.separation` (Albert & Anderson 1984). A split is a finding as well as a
trouble: the plain maximum likelihood estimate is then infinite, while penalised and Bayesian ones stay finite.

Few melts are often split by chance, and the sentence then says so. One factor: if g of n melts are good and the split
puts a good and b bad ones on its sides, a random order of the melts does so with chance C(n-a-b, g-a) / C(n, g), times
2 directions and the number of factors looked at (Bonferroni). All together: n random results are split by p columns
with chance 2^(1-n) sum_{i<p} C(n-1, i) (Cover 1965, IEEE Trans. Electronic Computers 14, 326-334, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import comb
from typing import Literal

import numpy as np

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.separation import separation
from meltdoe.fit.stages.phrases import capital, good_phrase, listed, melts_phrase
from meltdoe.fit.stages.stage_data import BoolArray, StageData, modelled_factors
from meltdoe.series.factor import Choice, Factor, FloatArray, Ordered
from meltdoe.series.melt_series import MeltSeries

__all__ = ["Split", "find_split"]

_OFTEN = 0.2  # a split more probable than this without any effect is said to be often chance


@dataclass(frozen=True, slots=True)
class Split:
    """A perfect split of the good from the bad melts of one outcome.

    Attributes
    ----------
    kind : "complete" where no melt stands on the border, "quasi-complete" where some do.
    factors : the factors that split on their own; or, where none does, those that do so together.
    together : whether it takes all of `factors`.
    melts : the melts that are split.
    sentence : the same in words.
    """

    kind: Literal["complete", "quasi-complete"]
    factors: tuple[str, ...]
    together: bool
    melts: tuple[int, ...]
    sentence: str


def find_split(
    series: MeltSeries, data: StageData, X: FloatArray, names: Sequence[str], factors_of: Sequence[tuple[str, ...]]
) -> Split | None:
    """The split of one outcome's rows, or None where there is none, where all rows agree, or for measurements.

    Parameters
    ----------
    X : (n_rows, n_columns) independent columns of the classical model, the constant first.
    names, factors_of : name of each column and the factors behind it.
    """
    good = data.good
    if data.outcome.kind == "measured" or not data.outcome.counts or good.all() or not good.any():
        return None
    title = good_phrase(data.outcome)
    alone = []
    for factor in modelled_factors(series, data.outcome):
        values = data.raw[:, series.factor_names.index(factor.name)]
        known = np.isfinite(values)
        if good[known].all() or not good[known].any():
            continue
        melts = [melt for melt, there in zip(data.melts, known, strict=True) if there]
        found = _alone(factor, values[known], good[known], melts)
        if found is not None:
            complete, text, used = found
            luck = _luck(good[known], used, len(series.factors))
            alone.append((factor.name, complete and bool(known.all()), text, luck, _picked(melts, used)))
    if len(alone) > 1 and min(data.n_good, data.n_seen - data.n_good) == 1:
        return _odd_one_out(data, [item[0] for item in alone], all(item[1] for item in alone), title)
    if alone:
        # A split without exception says more than one with melts on its border.
        strict = any(complete for _, complete, *_ in alone)
        shown = [item for item in alone if item[1] == strict]
        sentences = [f"{capital(name)} alone splits {title} so far: {text}." for name, _, text, *_ in shown]
        if min(luck for *_, luck, _ in shown) > _OFTEN:
            sentences.append("With so few melts a split like this is often chance.")
        picked = {melt for *_, used in shown for melt in used}
        kind: Literal["complete", "quasi-complete"] = "complete" if strict else "quasi-complete"
        return Split(kind, tuple(item[0] for item in shown), False, tuple(sorted(picked)), " ".join(sentences))
    return _together(data, X, names, factors_of, title)


def _odd_one_out(data: StageData, factors: Sequence[str], strict: bool, title: str) -> Split:
    """One melt unlike all the others: nearly every factor splits, and that is one finding, not many."""
    melts = tuple(sorted(set(data.melts)))
    one_good, one_bad = data.n_good == 1, data.n_good == data.n_seen - 1
    good, bad = _picked(data.melts, data.good), _picked(data.melts, ~data.good)
    lined_up = f"{listed(list(factors))} {'all' if len(factors) > 2 else 'both'} line up with"
    if one_good and one_bad:
        text = (
            f"{capital(title)}: one good ({melts_phrase(good)}), one bad ({melts_phrase(bad)}) so far; {lined_up} that."
        )
    elif one_bad:
        text = f"Only {melts_phrase(bad)} failed on {title}: {lined_up} it."
    else:
        text = f"Only {melts_phrase(good)} was good for {title}: {lined_up} it."
    text += " One melt cannot say which of them was the reason, or whether it was chance."
    return Split("complete" if strict else "quasi-complete", tuple(factors), False, melts, text)


def _alone(
    factor: Factor, values: FloatArray, good: BoolArray, melts: Sequence[int]
) -> tuple[bool, str, BoolArray] | None:
    if isinstance(factor, Choice):
        return _by_option(factor, values, good, melts)
    for bigger_is_good in (True, False):
        upper, lower = (good, ~good) if bigger_is_good else (~good, good)
        border_low, border_high = float(values[lower].max()), float(values[upper].min())
        if border_low > border_high:
            continue
        above, below = values > border_low, values < border_high
        complete = border_low < border_high
        if not complete and (above | below).sum() < 2:
            continue
        top, bottom = ("good", "bad") if bigger_is_good else ("bad", "good")
        parts = []
        if above.any():
            start = _reach(factor, float(values[above].min()), "above")
            parts.append(f"all {top} at {start} ({_numbers(melts, above)})")
        if below.any():
            start = _reach(factor, float(values[below].max()), "below")
            parts.append(f"all {bottom} at {start} ({_numbers(melts, below)})")
        return complete, ", ".join(parts), above | below
    return None


def _reach(factor: Factor, value: float, way: str) -> str:
    """ "24 wt% and above"; the last of ordered options stands alone."""
    last = isinstance(factor, Ordered) and value == (len(factor.options) - 1 if way == "above" else 0)
    return factor.show(value) if last else f"{factor.show(value)} and {way}"


def _by_option(
    factor: Choice, values: FloatArray, good: BoolArray, melts: Sequence[int]
) -> tuple[bool, str, BoolArray] | None:
    parts, used = [], np.zeros(len(values), dtype=bool)
    for i, option in enumerate(factor.options):
        here = values == i
        if here.sum() > 1 and (good[here].all() or not good[here].any()):
            parts.append(f"all {'good' if good[here].all() else 'bad'} with {option} ({_numbers(melts, here)})")
            used |= here
    if not parts:
        return None
    return bool(used.all()), ", ".join(parts), used


def _luck(good: BoolArray, used: BoolArray, factors: int) -> float:
    """Bound on the chance that one of the factors shows such a split without any effect."""
    n, g, off = len(good), int(good.sum()), int(used.sum())
    return min(1.0, 2 * factors * comb(n - off, g - int(good[used].sum())) / comb(n, g))


def _picked(melts: Sequence[int], mask: Iterable[bool]) -> tuple[int, ...]:
    return tuple(sorted({melt for melt, keep in zip(melts, mask, strict=True) if keep}))


def _numbers(melts: Sequence[int], mask: Iterable[bool]) -> str:
    return melts_phrase(_picked(melts, mask))


def _together(
    data: StageData, X: FloatArray, names: Sequence[str], factors_of: Sequence[tuple[str, ...]], title: str
) -> Split | None:
    rows, columns = X.shape
    if columns >= rows:
        melts = tuple(sorted(set(data.melts)))
        text = (
            f"With {rows} melts and {columns - 1} effects any pattern of {title} could be matched perfectly, "
            "so a perfect match says nothing."
        )
        return Split("complete", (), True, melts, text)
    try:
        found = separation(X, data.good.astype(float), names=names)
    except Inestimable:
        return None
    if found.kind == "none":
        return None
    carrying = dict.fromkeys(
        factor for name, factors in zip(names, factors_of, strict=True) if name in found.terms for factor in factors
    )
    melts = _picked(data.melts, ~found.boundary)
    rest = _picked(data.melts, found.boundary)
    border = f", with {melts_phrase(rest)} on the border" if rest else ""
    verb = "together split" if len(carrying) > 1 else "alone splits"
    text = f"{capital(listed(list(carrying)))} {verb} {title} so far ({melts_phrase(melts)}{border})."
    by_chance = sum(comb(rows - 1, i) for i in range(columns)) / 2 ** (rows - 1)
    if by_chance > _OFTEN:
        text += (
            f" With {rows} melts and {columns - 1} effects chance alone does so {round(100 * by_chance)} times in 100."
        )
    return Split(found.kind, tuple(carrying), len(carrying) > 1, melts, text)

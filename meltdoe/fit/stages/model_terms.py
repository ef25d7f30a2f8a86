"""Which terms an outcome's model holds, what each of them means as a change of settings, and which can be told apart.

Terms
    Those of the series file where it names any. Otherwise all main effects; interactions and squares join them only
    where the rows can bear it and both parents seem to matter (strong heredity; Chipman 1996, Can. J. Stat. 24, from
    memory), and the posterior's two-scale prior then averages over whether they matter.
    A quantity of the glass stands alone in its term, in place of the factors that it comes from.
Contrasts
    Each column of the classical model is scaled so that its coefficient is the change of the linear predictor from one
    stated setting to another: an amount from low to high, an option instead of the first option, an interaction from
    "set opposite ways" to "set the same way", a square from the middle to the ends.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.fit.stages.phrases import listed
from meltdoe.fit.stages.stage_data import StageData, modelled_factors
from meltdoe.series.chemistry import Derived
from meltdoe.series.coding import Coding
from meltdoe.series.factor import Amount, Choice, Factor, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome
from meltdoe.series.terms import Term, cross_terms, main_terms, square_terms

__all__ = [
    "Contrast", "chosen_terms", "contrasts_of", "independent_columns", "predicted_terms", "tied_terms",
    "with_second_order",
]  # fmt: skip

_MOST_COLUMNS = 32  # six factors with all products and squares take 27
_ROWS_FOR_SECOND_ORDER = 10  # fewer rows say next to nothing on interactions (rule of thumb, no source)
_ROWS_PER_EXTRA_COLUMN = 4  # rows left over for each further column (rule of thumb, no source)
_INCLUSION = 0.5  # a parent matters where the posterior gives its large scale at least this chance
_SAME = 1e-7  # columns are scaled to length 1; a part smaller than this is rounding


@dataclass(frozen=True, slots=True, eq=False)
class Contrast:
    """One column of the classical model and the change of settings that its coefficient measures.

    Attributes
    ----------
    label : the term for people, with the option where there are several ("packing edge").
    column : (n_rows,) the column at the rows of the stage.
    start, end : raw settings of the term's factors, by position of the factor; an effect goes from the average over
        `start` to the average over `end`.
    from_setting, to_setting : the same for people.
    """

    term: Term
    label: str
    column: FloatArray
    start: tuple[Mapping[int, float], ...]
    end: tuple[Mapping[int, float], ...]
    from_setting: str
    to_setting: str


def chosen_terms(series: MeltSeries, data: StageData) -> tuple[Term, ...]:
    """The terms to begin with: those of the file, or all main effects, of factors that can act on the outcome."""
    factors = modelled_factors(series, data.outcome)
    names = {factor.name for factor in factors}
    asked = series.terms_of(data.outcome.name)
    if asked:
        return tuple(term for term in asked if names.issuperset(_behind(series, term)))
    return main_terms(factors)


def _behind(series: MeltSeries, term: Term) -> tuple[str, ...]:
    """The factors behind a term, also through a quantity of the glass."""
    quantities = (series.derived_quantity(name) for name in term.factors)
    return tuple(
        factor
        for name, quantity in zip(term.factors, quantities, strict=True)
        for factor in ((name,) if quantity is None else quantity.factors)
    )


def predicted_terms(series: MeltSeries, outcome: Outcome, terms: tuple[Term, ...]) -> tuple[Term, ...]:
    """The terms that predictions average over: `terms`, and all products and squares where those stay few.

    A best setting often lies between the ends, or depends on another factor. With main effects alone a model sees
    neither, is sure of a corner, and goes on asking for melts there; the prior's heredity keeps the rest small.
    """
    if series.terms_of(outcome.name):
        return terms
    factors = [series.factor(term.factors[0]) for term in terms]
    second = (*cross_terms(factors), *square_terms(factors))
    width = sum(series.coding.width(term) for term in (*terms, *second))
    return (*terms, *second) if width <= _MOST_COLUMNS else terms


def with_second_order(
    series: MeltSeries, data: StageData, terms: tuple[Term, ...], inclusion: Mapping[Term, float]
) -> tuple[Term, ...]:
    """`terms` and those interactions and squares that the rows can bear; the same object where there are none.

    Parameters
    ----------
    inclusion : chance that each main effect matters, from the fit with main effects alone.
    """
    coding = series.coding
    used = 1 + sum(coding.width(term) for term in terms) + data.nuisance.columns.shape[1]
    room = (data.n_seen - used) // _ROWS_PER_EXTRA_COLUMN
    fewest = data.n_seen if data.outcome.kind == "measured" else min(data.n_good, data.n_seen - data.n_good)
    if data.n_seen < _ROWS_FOR_SECOND_ORDER or room < 1 or fewest < 3:
        return terms
    factors = modelled_factors(series, data.outcome)
    ranked = sorted(
        (
            (-min(inclusion.get(parent, 0.0) for parent in term.parents()), str(term), term)
            for term in (*cross_terms(factors), *square_terms(factors))
        ),
        key=lambda item: item[:2],
    )
    columns = np.column_stack([coding.matrix(terms, data.raw), data.nuisance.columns])
    added: list[Term] = []
    for strength, _, term in ranked:
        width = coding.width(term)
        if -strength < _INCLUSION or width > room:
            continue
        wider = np.column_stack([columns, coding.term_columns(term, data.raw)])
        if _rank(wider) == _rank(columns) + width:
            columns, room = wider, room - width
            added.append(term)
    return (*terms, *added) if added else terms


def contrasts_of(series: MeltSeries, terms: Sequence[Term], raw: FloatArray) -> tuple[Contrast, ...]:
    """The contrasts of every term, in the order of the terms and, inside one, of the options.

    Parameters
    ----------
    raw : (n_rows, n_factors) raw settings of the stage's rows.
    """
    found: list[Contrast] = []
    for term in terms:
        quantity = series.derived_quantity(term.factors[0])
        if quantity is not None:
            found.append(_quantity_contrast(series, term, quantity, raw))
            continue
        choices = [name for name in term.factors if isinstance(series.factor(name), Choice)]
        ranges = [range(1, len(_options(series.factor(name)))) for name in choices]
        for picked in itertools.product(*ranges):
            found.append(_contrast(series, term, dict(zip(choices, picked, strict=True)), raw))
    return tuple(found)


def _quantity_contrast(series: MeltSeries, term: Term, quantity: Derived, raw: FloatArray) -> Contrast:
    """From where the quantity is lowest in the planned region to where it is highest."""
    start, end = (
        {series.factor_names.index(name): value for name, value in ends.items()}
        for ends in (quantity.least, quantity.most)
    )
    column = series.coding.term_columns(term, raw)[:, 0] / 2.0
    low, high = quantity.show(quantity.low), quantity.show(quantity.high)
    return Contrast(term, str(term), column, (start,), (end,), low, high)


def _options(factor: Factor) -> tuple[str, ...]:
    return () if isinstance(factor, Amount) else factor.options


def _contrast(series: MeltSeries, term: Term, picked: Mapping[str, int], raw: FloatArray) -> Contrast:
    coding = series.coding
    positions = {name: series.factor_names.index(name) for name in term.factors}
    levels = {name: _levels(series.factor(name), power, picked.get(name)) for name, power in term.powers}
    corners = [dict(zip(levels, values, strict=True)) for values in itertools.product(*levels.values())]
    table = np.tile(coding.centre(), (len(corners), 1))
    for row, corner in zip(table, corners, strict=True):
        for name, value in corner.items():
            row[positions[name]] = value
    sides = _product(coding, term, picked, table)
    # A choice's column runs from the first option (less than 0) to the picked one (more than 0), as -1..+1 does.
    ends, starts = np.isclose(sides, sides.max()), np.isclose(sides, sides.min())
    if len(picked) > 0:
        middle = (sides.max() + sides.min()) / 2
        ends, starts = sides > middle, sides < middle
    column = _product(coding, term, picked, raw) / (sides[ends].mean() - sides[starts].mean())

    def chosen(mask: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> tuple[dict[int, float], ...]:
        return tuple({positions[n]: v for n, v in c.items()} for c, keep in zip(corners, mask, strict=True) if keep)

    start, end = chosen(starts), chosen(ends)
    label, from_text, to_text = _texts(series, term, picked, start, end)
    return Contrast(term, label, column, start, end, from_text, to_text)


def _levels(factor: Factor, power: int, picked: int | None) -> tuple[float, ...]:
    if picked is not None:
        return (0.0, float(picked))
    low, high = (factor.low, factor.high) if isinstance(factor, Amount) else (0.0, len(factor.options) - 1.0)
    if power % 2:
        return (low, high)
    middle = float(factor.decoded(np.zeros(1))[0]) if isinstance(factor, Amount) else float(round(high / 2))
    return (low, middle, high)


def _product(coding: Coding, term: Term, picked: Mapping[str, int], raw: FloatArray) -> FloatArray:
    """Coded product of a term, a choice standing as a centred indicator of the picked option, shape (n_rows,)."""
    value = np.ones(len(raw))
    for name, power in term.powers:
        factor = coding.factors[coding.names.index(name)]
        if isinstance(factor, Choice):
            option = raw[:, coding.names.index(name)]
            value *= np.where(np.isfinite(option), (option == picked[name]) - 1.0 / len(factor.options), 0.0)
        else:
            value *= coding.factor_columns(name, raw, power)[:, 0]
    return value


def _texts(
    series: MeltSeries,
    term: Term,
    picked: Mapping[str, int],
    start: Sequence[Mapping[int, float]],
    end: Sequence[Mapping[int, float]],
) -> tuple[str, str, str]:
    if len(term.powers) == 1:
        (name, power) = term.powers[0]
        factor, position = series.factor(name), series.factor_names.index(name)
        if power % 2:
            low, high = factor.show(start[0][position]), factor.show(end[0][position])
            return (f"{name} {high}" if name in picked and len(_options(factor)) > 2 else str(term)), low, high
        ends = listed([factor.show(corner[position]) for corner in end])
        return str(term), f"in the middle ({factor.show(start[0][position])})", f"at the ends ({ends})"
    options = [f"{name} {_options(series.factor(name))[option]}" for name, option in picked.items()]
    label = f"{term} ({', '.join(options)})" if options else str(term)
    return label, "opposite ways", "set the same way"


def independent_columns(X: FloatArray) -> tuple[int, ...]:
    """Positions of a largest set of independent columns, earlier ones first."""
    size = np.linalg.norm(X, axis=0)
    kept: list[int] = []
    basis = np.zeros((X.shape[0], 0))
    for j in range(X.shape[1]):
        if size[j] == 0:
            continue
        rest = X[:, j] / size[j]
        rest = rest - basis @ (basis.T @ rest)
        rest = rest - basis @ (basis.T @ rest)  # a second pass removes what rounding left
        length = float(np.linalg.norm(rest))
        if length > _SAME and len(kept) < X.shape[0]:
            kept.append(j)
            basis = np.column_stack([basis, rest / length])
    return tuple(kept)


def tied_terms(X: FloatArray, names: Sequence[str], outcome: str) -> dict[str, str]:
    """For every column that the rows cannot settle, why not, as a sentence without a full stop.

    Parameters
    ----------
    X : (n_rows, n_columns) with the constant first. names : one a column.
    """
    reasons: dict[str, str] = {}
    rows, columns = X.shape
    if rows == 0:
        return dict.fromkeys(names[1:], f"no melt has been seen for {outcome} yet")
    if rows == 1:
        return dict.fromkeys(names[1:], f"only one melt has been seen for {outcome} so far")
    varying = np.ptp(X, axis=0) > _SAME
    for j in range(1, columns):
        if not varying[j]:
            reasons[names[j]] = f"{names[j]} was never changed among the melts seen for {outcome}"
    live = [0, *(j for j in range(1, columns) if varying[j])]
    null = _null_space(X[:, live])
    involved = [live[i] for i in np.flatnonzero(np.abs(null).max(axis=0, initial=0.0) > _SAME) if live[i]]
    partners = {j: [k for k in involved if k != j and _move_together(X[:, j], X[:, k])] for j in involved}
    others = listed([names[j] for j in involved if not partners[j]])
    for j in involved:
        if partners[j]:
            together = listed([names[k] for k in sorted([j, *partners[j]])])
            reasons[names[j]] = f"{together} were changed together: their effects cannot be told apart"
        elif rows < len(live):
            reasons[names[j]] = f"{rows} melts cannot tell {len(live) - 1} effects apart"
        else:
            reasons[names[j]] = f"the effects of {others} cannot be told apart"
    return reasons


def _move_together(first: FloatArray, second: FloatArray) -> bool:
    a, b = first - first.mean(), second - second.mean()
    return bool(abs(abs(a @ b) - np.sqrt((a @ a) * (b @ b))) <= _SAME * np.sqrt((a @ a) * (b @ b)))


def _null_space(X: FloatArray) -> FloatArray:
    size = np.linalg.norm(X, axis=0)
    _, s, vt = np.linalg.svd(X / np.where(size > 0, size, 1.0), full_matrices=True)
    return np.asarray(vt[int(np.sum(s > _SAME)) :])


def _rank(X: FloatArray) -> int:
    return len(independent_columns(X))

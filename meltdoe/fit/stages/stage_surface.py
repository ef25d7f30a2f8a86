"""The shape of a measured outcome over two or more amounts: its stationary point in the units of the factors.

Where the model of an outcome holds every main effect, square and product of some amounts, its least squares fit is a
quadratic surface; `meltdoe.fit.classical.canonical_surface` gives its stationary point with limits. Terms of other
factors may stand beside it as long as they share no product with it: they lift the surface and leave its shape.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.canonical_surface import CanonicalForm, canonical_surface
from meltdoe.fit.classical.least_squares import least_squares
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.series.factor import Amount
from meltdoe.series.terms import Term

__all__ = ["StageSurface", "stage_surface"]


@dataclass(frozen=True, slots=True, eq=False)
class StageSurface:
    """The fitted quadratic of one outcome.

    Attributes
    ----------
    factors : the amounts it is a surface of.
    form : its canonical form in coded units; None where the melts cannot give it, `why_not` then says why.
    place, low, high : stationary point with limits at the level of the fit, in the units of the factors.
    """

    outcome: str
    unit: str
    factors: tuple[str, ...]
    form: CanonicalForm | None
    place: Mapping[str, float]
    low: Mapping[str, float]
    high: Mapping[str, float]
    why_not: str = ""


def stage_surface(stage: StageFit) -> StageSurface | None:
    """Canonical analysis of an outcome; None where its model holds no full quadratic in two or more amounts."""
    names = _quadratic_factors(stage)
    if stage.outcome.kind != "measured" or len(names) < 2:
        return None
    outcome, data, coding = stage.outcome, stage.data, stage.series.coding
    X = np.column_stack([coding.matrix(stage.terms, data.raw), data.nuisance.columns])
    of_column = [*coding.column_terms(stage.terms), *[None] * len(data.nuisance.names)]
    part_of = [j == 0 or (term is not None and set(term.factors) <= set(names)) for j, term in enumerate(of_column)]
    powers = [
        [0 if term is None else dict(term.powers).get(name, 0) for name in names]
        for term, keep in zip(of_column, part_of, strict=True)
        if keep
    ]
    amounts = {name: stage.series.factor(name) for name in names}
    coded = np.column_stack([coding.factor_columns(name, data.raw) for name in names])
    kept = np.flatnonzero(part_of)
    try:
        if data.groups is not None:
            raise Inestimable(f"{data.group_kind}s hold several rows, and the shape is judged for separate melts only")
        columns = (*coding.column_names(stage.terms), *data.nuisance.names)
        fit = least_squares(X, data.y, level=stage.level, names=columns)
        form = canonical_surface(
            fit.coef[kept],
            fit.covariance[np.ix_(kept, kept)],
            powers,
            df=fit.df,
            level=stage.level,
            settings=coded,
        )
    except Inestimable as error:
        return StageSurface(outcome.name, outcome.unit, names, None, {}, {}, {}, str(error))

    def in_units(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> dict[str, float]:
        with np.errstate(over="ignore"):
            return {
                name: float(amounts[name].decoded(np.array([v]))[0])  # type: ignore[union-attr]
                for name, v in zip(names, values, strict=True)
            }

    return StageSurface(
        outcome.name, outcome.unit, names, form, in_units(form.stationary), in_units(form.low), in_units(form.high)
    )


def _quadratic_factors(stage: StageFit) -> tuple[str, ...]:
    """Amounts of which the model holds main effects, squares and all products; none where others are tied to them."""
    held = set(stage.terms)
    bent = [
        factor.name
        for factor in stage.series.factors
        if isinstance(factor, Amount) and {Term(((factor.name, 1),)), Term(((factor.name, 2),))} <= held
    ]
    pairs = {Term(tuple(sorted(((a, 1), (b, 1))))) for a, b in combinations(bent, 2)}
    tied = any(set(term.factors) & set(bent) and not set(term.factors) <= set(bent) for term in held)
    high = any(term.order > 2 for term in held)
    return tuple(bent) if pairs <= held and not tied and not high else ()

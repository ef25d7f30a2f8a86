"""What chemistry expects before the first melt, in the form of beliefs, and the settings that it holds hopeless.

A belief is a chance at a setting worth so many melts (conditional means; Bedrick, Christensen & Johnson 1996, J. Am.
Stat. Assoc. 91, from memory). Chemistry states its chances at the ends of the factors that act on a quantity and in
the middle, at most nine settings, among which its worth is shared out. It may be wrong as a whole: the fit mixes these
beliefs with a prior that knows nothing of them (`meltdoe.fit.model.doubted_beliefs`). With Phi the normal distribution
function:

pour        Phi((3.25 - v) / sqrt(s^2 + 0.46^2)), v log10 Pa s at the pour and s the sd of the viscosity model. 3.25 is
            half way between what pours well (10^2.5) and what never leaves the crucible (10^4), and 0.46 puts these two
            at 95 and 5 per cent (limits: `meltdoe.glass.named_viscosities`; the spread is this project's choice).
boil over   Phi((ln 600 - ln g) / 0.9), g litres of gas per litre of charge. 600 is what a fifth of hydrated borax
            gives, for which practice allows a third of the crucible; carbonates at 150 to 300 are filled to a half
            (common practice, no source; the curve is this project's judgement).
crack       Phi((ln 130 - ln a) / 0.35), a the expansion in 1e-7 per K: the stress of one cooling grows in proportion to
            it, and glass of 90 is cast every day (judgement, no source).

The last two are rough and count for half the worth. Viscosity counts in proportion to the precision of its model, (0.35
/ s)^2: half where a published analysis stands in for the rock's, a quarter outside what the model was made from.

Hopeless is a setting whose viscosity lies above the ceiling by more than two standard deviations of the model.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from meltdoe.charge.derived_quantities import (
    NoQuantity,
    Property,
    acting_factors,
    derived,
    grid_axes,
    raw_of,
    region_points,
    unmade_glass,
    with_known_glass,
)  # fmt: skip
from meltdoe.charge.glass_at import glass_at
from meltdoe.charge.shelf import shelf
from meltdoe.charge.weights import BULK_DENSITY
from meltdoe.glass.named_viscosities import POUR_GOOD, POUR_HOPELESS
from meltdoe.series.belief import Belief
from meltdoe.series.chemistry import QUANTITIES, Ceiling, ChemistryPrior, QuantityName
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.limit import Limit
from meltdoe.series.melt_series import MeltSeries

__all__ = ["ChemistryFault", "chance_of_pour", "with_chemistry"]

_POINTS = 8  # beside the middle
_MIDDLE, _WIDTH = (POUR_GOOD + POUR_HOPELESS) / 2.0, (POUR_HOPELESS - POUR_GOOD) / 2.0 / 1.645
_GAS, _GAS_WIDTH = np.log(600.0), 0.9
_ALPHA, _ALPHA_WIDTH = np.log(130.0), 0.35
_BEST_SD = 0.35  # log10 Pa s of the viscosity model where the glass is known
_ROUGH = 0.5
_SURE = (0.05, 0.95)  # chemistry is never surer than this
_GRANTED = 2.0  # standard deviations


class ChemistryFault(ValueError):
    """Chemistry cannot speak as it is asked to.

    Parameters
    ----------
    quantity : that cannot be had; "ceiling" where the ceiling rules out everything.
    in_term : whether a term asked for it, not the prior.
    """

    def __init__(self, quantity: str, why: str, in_term: bool = False) -> None:
        self.quantity = quantity
        self.in_term = in_term
        super().__init__(why)


def chance_of_pour(log10: FloatArray, sd: FloatArray) -> FloatArray:
    """Chance that a melt of this viscosity, log10 Pa s and its standard deviation, leaves the crucible."""
    return np.asarray(ndtr((_MIDDLE - log10) / np.hypot(sd, _WIDTH)))


def with_chemistry(series: MeltSeries) -> MeltSeries:
    """The series with all that chemistry adds to it: quantities for its terms, beliefs, and the ceiling as a limit.

    Raises
    ------
    ChemistryFault
        Where a quantity that is asked for cannot be worked out, or the ceiling rules out every setting.
    """
    wanted = {name for terms in series.own_terms.values() for term in terms for name in term.factors}
    quantities = []
    for what in QUANTITIES:
        if what in wanted and what not in series.factor_names:
            try:
                quantities.append(derived(series, what))
            except NoQuantity as fault:
                raise ChemistryFault(what, str(fault), in_term=True) from None
    prior, limits = None, series.limits
    if series.chemistry is not None and series.chemistry.use:
        silent = [
            f"Chemistry says nothing about melts with {name}, whose glass is known only from the log."
            for name in unmade_glass(series)
        ]
        told = [_beliefs(series, what, outcome) for what, outcome in series.chemistry.outcomes.items()]
        beliefs = tuple(belief for some, _ in told for belief in some)
        notes = dict.fromkeys([*silent, *(note for _, some in told for note in some)])
        prior = ChemistryPrior(beliefs, tuple(notes), series.chemistry.trust)
        limits = (*limits, *_ceiling(series))
    return replace(series, derived=tuple(quantities), chemistry_prior=prior, limits=limits)


def _points(series: MeltSeries, names: tuple[str, ...], what: QuantityName) -> FloatArray:
    """Ends of the factors at work that keep the limits, evenly thinned by the quantity, and the middle."""
    ends, middle = region_points(series, names, ends_only=True), raw_of(series, {})
    ends = ends[with_known_glass(series, ends)]
    if len(ends) and not with_known_glass(series, middle).all():  # its options are the first of each factor
        choices = [i for i, factor in enumerate(series.factors) if not isinstance(factor, Amount)]
        middle[:, choices] = ends[0, choices]
    middle = middle[with_known_glass(series, middle)]
    table = np.vstack([ends, middle[series.allowed(middle)]]) if len(ends) else middle
    if not len(table):
        raise NoQuantity("every option of the recipe is glass of an earlier melt")
    if len(ends) > _POINTS:
        values = Property(series, what)({name: ends[:, i] for i, name in enumerate(series.factor_names)})
        chosen = np.unique(np.rint(np.linspace(0, len(ends) - 1, _POINTS)).astype(int))
        table = np.vstack([ends[np.argsort(values, kind="stable")[chosen]], table[len(ends) :]])
    return table


def _beliefs(series: MeltSeries, what: QuantityName, outcome: str) -> tuple[list[Belief], list[str]]:
    assert series.chemistry is not None
    names = acting_factors(series, what)
    notes: list[str] = []
    try:
        if series.recipe is None or not names:
            raise NoQuantity("no factor of a [recipe] changes it")
        raw = _points(series, names, what)
        chances, precision = _chances(series, raw, what, notes)
    except ValueError as fault:
        raise ChemistryFault(what, str(fault)) from None
    worth = series.chemistry.worth * precision / len(raw)
    if np.mean(precision) < 0.99 and what == "viscosity":
        notes.append(
            f"The viscosity model is less sure of this glass than of most, so chemistry counts for "
            f"{np.sum(worth):.2g} melts instead of {series.chemistry.worth:g}."
        )
    kept = np.clip(chances, *_SURE)
    return [
        Belief({name: series.settings(row)[name] for name in names}, outcome, round(float(chance), 4), float(share))
        for row, chance, share in zip(raw, kept, worth, strict=True)
    ], notes


def _chances(
    series: MeltSeries, raw: FloatArray, what: QuantityName, notes: list[str]
) -> tuple[FloatArray, FloatArray]:
    """Chance of good at each setting, and the share of the worth that it deserves."""
    glass = glass_at(series, raw, shelf(series))
    if what == "gas":
        gas = np.maximum(BULK_DENSITY * glass.gas, 1e-9)
        return np.asarray(ndtr((_GAS - np.log(gas)) / _GAS_WIDTH)), np.full(len(raw), _ROUGH)
    if what == "expansion":
        found = glass.expansion()
        notes += found.warnings
        return np.asarray(ndtr((_ALPHA - np.log(found.alpha)) / _ALPHA_WIDTH)), np.full(len(raw), _ROUGH)
    melt = glass.viscosity()
    notes += melt.warnings
    if not glass.known_analysis:
        notes.append("a published analysis stands in for that of the rock")
    sd = np.broadcast_to(melt.sd, (len(raw),))
    return chance_of_pour(np.asarray(melt.log10), sd), np.minimum(1.0, (_BEST_SD / sd) ** 2)


def _ceiling(series: MeltSeries) -> Iterable[Limit]:
    """The ceiling where it bites, so that it changes nothing elsewhere."""
    assert series.chemistry is not None
    stiffest = POUR_HOPELESS if series.chemistry.stiffest is None else series.chemistry.stiffest
    if not series.chemistry.pour and series.chemistry.stiffest is None:
        return ()
    names = acting_factors(series, "viscosity")
    quantity = Property(series, "viscosity", _GRANTED)
    raw = region_points(series, names)
    raw = raw[with_known_glass(series, raw)]
    try:
        values = quantity({name: raw[:, i] for i, name in enumerate(series.factor_names)})
    except ValueError as fault:
        raise ChemistryFault("viscosity", str(fault)) from None
    if not len(raw) or np.all(values <= stiffest):
        return ()
    if np.all(values > stiffest):
        least = float(np.min(values))
        raise ChemistryFault("ceiling", f"even the most fluid setting is hopeless, at 10^{least:.1f} Pa s at best")
    amounts = frozenset(name for name in names if isinstance(series.factor(name), Amount))
    keep = f"viscosity at the pour <= 10^{stiffest:g} Pa s"
    why = "by its chemistry the glass is too stiff to leave the crucible, even if the model is wrong by twice its error"
    return (Limit(keep, why, Ceiling(quantity, stiffest, names, amounts, grid_axes(series, names))),)

"""What is known of the glass of one melt, for a table or a page: composition, pour, fixed points, cooling."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from meltdoe.charge.assumed_forms import assumed_forms
from meltdoe.charge.cooling_plan import CoolingPlan, cooling_plan
from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.charge.glass_at import GlassAt, glass_of_melts
from meltdoe.charge.shelf import Shelf
from meltdoe.glass.named_viscosities import FixedPoint, fixed_points, pour_verdict
from meltdoe.series.melt_series import MeltSeries

__all__ = ["MeltGlass", "melt_glass"]


@dataclass(frozen=True, slots=True)
class MeltGlass:
    """The glass of one melt.

    Parameters
    ----------
    on_record : whether it is in the log; else it is planned.
    composition, mole_percent : by oxide, wt% and mol%.
    flux : actual flux on the basis of the recipe, that of remelted glass included.
    loss : wt% of the charge.
    gas : litres per kg of charge at 1100 °C and 1 atm.
    celsius : of the pour, or None.
    log10, log10_sd : log10 Pa s there with its standard deviation, or None.
    verdict : "good", "marginal", "poor" or "hopeless", or empty.
    model : viscosity model that was used, or empty.
    good_from, good_sd : °C from which it pours well, with its standard deviation, or None.
    hopeless_below : °C below which it does not leave the crucible, or None.
    points : fixed points, hottest first.
    alpha, alpha_sd : expansion in 1e-7 per K, or None.
    density : g/cm3 of the cold glass.
    cooling : of the casting, or None.
    warnings : one sentence each; also why something could not be worked out.
    """

    melt: int
    on_record: bool
    composition: Mapping[str, float]
    mole_percent: Mapping[str, float]
    flux: float
    loss: float
    gas: float
    celsius: float | None
    log10: float | None
    log10_sd: float | None
    verdict: str
    model: str
    good_from: float | None
    good_sd: float | None
    hopeless_below: float | None
    points: tuple[FixedPoint, ...]
    alpha: float | None
    alpha_sd: float | None
    density: float | None
    cooling: CoolingPlan | None
    warnings: tuple[str, ...]


def _first(values: object) -> float:
    return float(np.atleast_1d(np.asarray(values, dtype=float))[0])


def melt_glass(series: MeltSeries, melt: EarlierMelt, on_shelf: Shelf, on_record: bool = False) -> MeltGlass:
    """The glass of one melt; what cannot be worked out is left out with a warning, and nothing is raised."""
    warnings: list[str] = []
    try:
        glass = glass_of_melts(series, [melt], on_shelf)
    except ValueError as fault:
        nothing: dict[str, float] = {}
        nan = float("nan")
        return MeltGlass(
            melt.melt, on_record, nothing, nothing, nan, nan, nan, None, None, None, "", "", None, None, None, (), None,
            None, None, None, (str(fault),),
        )  # fmt: skip
    composition = glass.one()
    log10 = sd = good_from = good_sd = hopeless = None
    model = ""
    points: tuple[FixedPoint, ...] = ()
    try:
        pouring = glass.pouring()
        good_from, good_sd = _first(pouring.good_from), _first(pouring.sd)
        hopeless = _first(pouring.hopeless_below)
        warnings += pouring.warnings
        points = fixed_points(composition)
        if glass.celsius is not None and not np.isfinite(glass.celsius).all():
            warnings.append("no viscosity: the temperature that was reached is unknown")
        elif glass.celsius is not None:
            at_pour = glass.viscosity()
            log10, sd, model = _first(at_pour.log10), _first(at_pour.sd), at_pour.model
            warnings += at_pour.warnings
    except ValueError as fault:
        warnings.append(f"no viscosity: {fault}")
    alpha, alpha_sd = _expansion(glass, warnings)
    cooling = None
    try:
        cooling = cooling_plan(series, composition, melt.settings)
        warnings += cooling.schedule.warnings if cooling is not None else ()
    except ValueError as fault:
        warnings.append(f"no annealing schedule: {fault}")
    if not glass.known_analysis:
        warnings.append("a published analysis stands in for that of the rock")
    warnings += assumed_forms(series, [name for name, share in glass.shares.items() if _first(share) > 0.0])
    return MeltGlass(
        melt=melt.melt,
        on_record=on_record,
        composition=composition,
        mole_percent={oxide: _first(values) for oxide, values in glass.mole_percent.items() if _first(values) > 0.0},
        flux=_first(glass.flux),
        loss=_first(glass.loss),
        gas=_first(glass.gas),
        celsius=None if glass.celsius is None else _first(glass.celsius),
        log10=log10,
        log10_sd=sd,
        verdict="" if log10 is None else pour_verdict(round(log10, 1)),  # as it is printed
        model=model,
        good_from=good_from,
        good_sd=good_sd,
        hopeless_below=hopeless,
        points=points,
        alpha=alpha,
        alpha_sd=alpha_sd,
        density=_first(glass.density()),
        cooling=cooling,
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _expansion(glass: GlassAt, warnings: list[str]) -> tuple[float | None, float | None]:
    try:
        found = glass.expansion()
    except ValueError as fault:
        warnings.append(f"no expansion: {fault}")
        return None, None
    warnings += found.warnings
    return _first(found.alpha), _first(found.sd)

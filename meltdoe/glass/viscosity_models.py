"""Viscosity of a melt from its composition, with its standard deviation and a warning wherever the model is stretched.

``"auto"`` chooses by composition:

lakatos   soda-lime glass inside the range of the authors' own glasses (Na2O, K2O, CaO, MgO, Al2O3 per SiO2), without
          more than a trace of anything else. Both models are as good there (rmse 0.16 and 0.17 at the pour), and this
          one is published. It fades into FLUXFIT over the last tenth of the range of each oxide, so that a recipe
          that slides from bottle glass to obsidian sees one smooth function
fluxfit   all else that it was made for: obsidian with soda, potash, lithia, borate, lime, cullet
grd       outside the box of FLUXFIT, where GRD knows every oxide; else FLUXFIT with a warning

It adds up to 0.15 for boric oxide, the measured bias of FLUXFIT there (full above 2 mol%, in proportion below, so that
nothing jumps).

Its standard deviation is that of `meltdoe.glass.viscosity_error`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from meltdoe.glass.oxides import VOLATILE, Array, Composition, checked, to_mole_percent
from meltdoe.glass.viscosity_curve import Curve, Mask, ModelRefuses
from meltdoe.glass.viscosity_error import log10_sd
from meltdoe.glass.viscosity_fluxfit import fluxfit_curve, fluxfit_outside
from meltdoe.glass.viscosity_grd import grd_curve, grd_outside
from meltdoe.glass.viscosity_lakatos import LAKATOS_KNOWS, lakatos_curve, lakatos_outside, lakatos_share

__all__ = ["WHY", "ModelName", "Temperature", "Viscosity", "temperature_at", "viscosity"]

ModelName = Literal["auto", "grd", "lakatos", "fluxfit"]

_CURVES = {"fluxfit": fluxfit_curve, "grd": grd_curve, "lakatos": lakatos_curve}
_OUTSIDE = {"fluxfit": fluxfit_outside, "grd": grd_outside, "lakatos": lakatos_outside}
_BORON_BIAS = 0.15  # log10 Pa s above 2 mol% B2O3, measured minus FLUXFIT
_GAP = 0.8  # log10 Pa s between FLUXFIT and GRD that is worth a warning
WHY = {
    "fluxfit": "a fit to open measurements of obsidian with soda, potash, lithia, borate, lime or cullet",
    "grd": "the model for natural melts of Giordano, Russell & Dingwell 2008",
    "lakatos": "the model for soda-lime glass of Lakatos, Johansson & Simmingskold 1972",
}
"""What each model is, to go with its name."""
_FLUXFIT_KELVIN = (700.0, 2000.0)
_LOG10_RANGE = {"grd": (-1.0, 14.0), "lakatos": (1.0, 12.0)}  # as published; the second from memory


@dataclass(frozen=True, slots=True, eq=False)
class Viscosity:
    """Viscosity of one or many melts.

    Parameters
    ----------
    log10 : log10 Pa s, the shape of composition and temperature broadcast together; scalars in, scalar out.
    sd : standard deviation of `log10`, same shape.
    model : the model that was used, or such as "fluxfit and grd" where it differs from glass to glass; see `WHY`.
    warnings : what the reader must know, one sentence each.
    beside : GRD beside FLUXFIT where it knows every oxide, in log10 Pa s of the dry melt, else None.
    curve : constants of the curve, for inversion.
    """

    log10: Array
    sd: Array
    model: str
    warnings: tuple[str, ...]
    beside: Array | None
    curve: Curve

    def temperature_at(self, log10: ArrayLike) -> Array:
        """°C at which these melts have this log10 Pa s."""
        return self.curve.celsius_at(log10)[()]


@dataclass(frozen=True, slots=True, eq=False)
class Temperature:
    """Temperature at which a melt has a given viscosity.

    Parameters
    ----------
    celsius : °C.
    sd : standard deviation in K.
    model, warnings : as in `Viscosity`.
    """

    celsius: Array
    sd: Array
    model: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Choice:
    """A curve for every glass and which model gave it."""

    curve: Curve
    used: dict[str, Mask]  # model to the glasses that it stands for
    warnings: tuple[str, ...]
    outside: Mask
    mole_percent: dict[str, Array]
    grd_beside: Curve | None

    @property
    def model(self) -> str:
        return " and ".join(self.used)


def viscosity(
    composition: Composition, celsius: ArrayLike, model: ModelName = "auto", *, known_analysis: bool = True
) -> Viscosity:
    """Viscosity of a melt.

    Parameters
    ----------
    composition : oxide to wt%; amounts may be arrays, one element a glass.
    celsius : temperature in °C, broadcast against the glasses.
    model : "auto", or one model, which then refuses what it does not know.
    known_analysis : False where the rock has no analysis and a typical one stands in for it.

    Raises
    ------
    ModelRefuses
        Where the model (for "auto": every suitable model) has no term for an oxide of the glass.
    ValueError
        For an unusable composition, temperature or model name.
    """
    degrees = np.asarray(celsius, dtype=float)
    if not np.all(np.isfinite(degrees)) or np.any(degrees <= -273.15):
        raise ValueError(f"the temperature must be a number of °C above absolute zero, not {degrees}")
    choice = _choose(composition, model)
    log10 = choice.curve.log10_at(degrees)
    warnings = [*choice.warnings, *_range_warnings(choice, log10, degrees)]
    beside = None
    if choice.grd_beside is not None:
        beside = choice.grd_beside.log10_at(degrees)
        finite = np.isfinite(log10) & np.isfinite(beside)
        gap = np.abs(np.subtract(log10, beside, where=finite, out=np.zeros(np.shape(log10))))
        if np.any(gap > _GAP):
            warnings.append(
                f"two models disagree by up to {np.max(gap):.1f} in log10 viscosity here: confirm by a trial"
            )
    return Viscosity(
        log10=log10[()],
        sd=_spread(choice, log10, known_analysis)[()],
        model=choice.model,
        warnings=tuple(warnings),
        beside=None if beside is None else beside[()],
        curve=choice.curve,
    )


def temperature_at(
    composition: Composition, log10: ArrayLike, model: ModelName = "auto", *, known_analysis: bool = True
) -> Temperature:
    """Temperature at which a melt has `log10` Pa s, and its standard deviation; all else as `viscosity`."""
    wanted = np.asarray(log10, dtype=float)
    choice = _choose(composition, model)
    celsius = choice.curve.celsius_at(wanted)
    sd = _spread(choice, np.broadcast_to(wanted, np.shape(celsius)), known_analysis) * choice.curve.kelvin_per_log10(
        celsius
    )
    warnings = (*choice.warnings, *_range_warnings(choice, np.broadcast_to(wanted, np.shape(celsius)), celsius))
    return Temperature(celsius[()], np.asarray(sd)[()], choice.model, warnings)


def _choose(composition: Composition, model: str) -> _Choice:
    if model not in (*_CURVES, "auto"):
        raise ValueError(f'viscosity model "{model}" is not known; use "auto", "fluxfit", "grd" or "lakatos"')
    amounts = checked(composition)
    return _automatic(amounts) if model == "auto" else _single(amounts, model)


def _single(amounts: dict[str, Array], model: str) -> _Choice:
    curve, omitted = _CURVES[model](amounts)
    sides = _OUTSIDE[model](amounts)
    return _Choice(
        curve=curve,
        used={model: np.ones(np.shape(curve.b), dtype=bool)},
        warnings=(*_omission(model, omitted), *_stretch(model, sides)),
        outside=_anywhere(sides),
        mole_percent=to_mole_percent(_dry(amounts)),
        grd_beside=None,
    )


def _automatic(amounts: dict[str, Array]) -> _Choice:
    """The choice at the head of the module; GRD is asked for the dry melt."""
    dry = _dry(amounts)
    try:
        fluxfit, omitted = fluxfit_curve(amounts)
    except ModelRefuses as refusal:
        try:
            return _single(dry, "grd")
        except ModelRefuses:
            raise refusal from None
    mole_percent = to_mole_percent(dry)
    boron = mole_percent.get("B2O3", np.zeros(()))
    fluxfit = Curve(fluxfit.a + _BORON_BIAS * np.minimum(boron / 2.0, 1.0), fluxfit.b, fluxfit.c)
    by_lakatos = np.broadcast_to(lakatos_share(dry), np.shape(fluxfit.b))
    traces: tuple[str, ...] = ()
    if np.any(by_lakatos > 0.0):
        soda_lime = {oxide: dry[oxide] for oxide in dry if oxide in LAKATOS_KNOWS}
        traces = tuple(o for o in dry if o not in LAKATOS_KNOWS and np.any((by_lakatos > 0.0) & (dry[o] > 0.0)))
        fluxfit = fluxfit.towards(lakatos_curve(soda_lime)[0], by_lakatos)
    sides = fluxfit_outside(amounts)
    by_soda_lime_alone = bool(np.all(by_lakatos > 0.5))
    warnings = [*_omission("fluxfit", () if by_soda_lime_alone else omitted), *_omission("lakatos", traces)]
    try:
        grd, grd_omitted = grd_curve(dry)
    except ModelRefuses:
        used = {"fluxfit": np.ones(np.shape(fluxfit.b), dtype=bool)}
        notes = (*warnings, *_stretch("fluxfit", sides), *_thin_data(mole_percent))
        return _Choice(fluxfit, used, notes, _anywhere(sides), mole_percent, None)

    by_grd = np.broadcast_to(_anywhere(sides), np.shape(fluxfit.b))
    grd_sides = {oxide: by_grd & outside for oxide, outside in grd_outside(dry).items()}
    if np.any(by_grd):
        warnings.append(f"outside the glasses that FLUXFIT was made from ({_named(sides)}): GRD is used instead")
        warnings += [*_omission("grd", grd_omitted), *_stretch("grd", grd_sides)]
    soda_lime_glass = ~by_grd & (by_lakatos > 0.5)
    masks = {"lakatos": soda_lime_glass, "fluxfit": ~by_grd & ~soda_lime_glass, "grd": by_grd}
    used = {name: mask for name, mask in masks.items() if np.any(mask)}
    if "fluxfit" in used:
        warnings += _thin_data(mole_percent)
    return _Choice(
        curve=Curve(*(np.where(by_grd, getattr(grd, name), getattr(fluxfit, name)) for name in ("a", "b", "c"))),
        used=used,
        warnings=tuple(dict.fromkeys(warnings)),
        outside=_anywhere(grd_sides),
        mole_percent=mole_percent,
        grd_beside=grd if set(used) == {"fluxfit"} or set(used) == {"fluxfit", "grd"} else None,
    )


def _dry(amounts: dict[str, Array]) -> dict[str, Array]:
    return {oxide: values for oxide, values in amounts.items() if oxide not in VOLATILE}


def _anywhere(sides: dict[str, Mask]) -> Mask:
    """Which glasses lie outside on any side; an oxide that no glass holds is one value for all."""
    return np.asarray(reduce(np.logical_or, sides.values()), dtype=bool)


def _named(sides: dict[str, Mask]) -> str:
    return ", ".join(name for name, mask in sides.items() if np.any(mask))


def _stretch(model: str, sides: dict[str, Mask]) -> list[str]:
    names = _named(sides)
    return [f"outside the glasses that the {model} model was made from: {names}"] if names else []


def _omission(model: str, omitted: tuple[str, ...]) -> list[str]:
    notes = []
    dried = [oxide for oxide in omitted if oxide in VOLATILE]
    traces = [oxide for oxide in omitted if oxide not in VOLATILE]
    if dried:
        notes.append(
            f"{' and '.join(dried)} left out: at 1 atm the melt dries out, and until it has it is more fluid than this"
        )
    if traces:
        notes.append(f"{', '.join(traces)} left out: the {model} model has no term for it")
    return notes


def _thin_data(mole_percent: dict[str, Array]) -> list[str]:
    thin = [oxide for oxide in ("ZnO", "SrO") if np.any(mole_percent.get(oxide, 0.0) > np.float64(0.5))]
    return (
        [f"{' and '.join(thin)}: few measurements near obsidian, the effect at low temperature is not known"]
        if thin
        else []
    )


def _range_warnings(choice: _Choice, log10: Array, celsius: Array) -> list[str]:
    notes = []
    kelvin = celsius + 273.15
    if "fluxfit" in choice.used and np.any((kelvin < _FLUXFIT_KELVIN[0]) | (kelvin > _FLUXFIT_KELVIN[1])):
        notes.append("outside the temperatures that FLUXFIT was made from: 427 to 1727 °C")
    for model, (low, high) in _LOG10_RANGE.items():
        if model in choice.used and np.any((log10 < low) | (log10 > high)):
            notes.append(
                f"outside the viscosities that the {model} model was made from: 10^{low:g} to 10^{high:g} Pa s"
            )
    if np.any(np.isposinf(log10)):
        notes.append("so cold that the glass is rigid and the model gives no number")
    return notes


def _spread(choice: _Choice, log10: Array, known_analysis: bool) -> Array:
    return log10_sd(choice.used, choice.mole_percent, choice.outside, log10, known_analysis)

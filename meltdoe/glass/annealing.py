"""Annealing and cooling: stress from a cooling rate, the rate that a stress allows, a schedule, and cooling in a bed.

A piece cooled at a constant rate R (K/s) has a parabolic temperature profile. With k the diffusivity and d the size:

===========================  ====================  ====================
shape                        centre minus surface  mean minus surface
===========================  ====================  ====================
slab, both faces             R d^2/(8 k)           R d^2/(12 k)
slab, one face               R d^2/(2 k)           R d^2/(3 k)
long cylinder, diameter      R d^2/(16 k)          R d^2/(32 k)
sphere, diameter             R d^2/(24 k)          R d^2/(60 k)
===========================  ====================  ====================

Surface stress = E alpha (mean minus surface)/(1 - nu): tension below the strain point, which goes with the gradient,
and the same in compression, with half of it as tension inside a slab, frozen in by the same rate through the
annealing range. (Profiles checked by finite differences; form after Adams & Williamson 1920 and Kingery, from
memory.) A free slab cooled from one face bends and so sheds three quarters of that stress; the full value is kept,
as a casting in a bed may not be free to bend.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from meltdoe.glass.expansion_models import expansion_estimate
from meltdoe.glass.named_viscosities import annealing_warnings, fixed_points
from meltdoe.glass.oxides import Array, Composition, nearest
from meltdoe.glass.reference_tables import number, table

__all__ = [
    "SHAPES",
    "CoolingSchedule",
    "CoolingStep",
    "Shape",
    "anneal_schedule",
    "cooling_rate",
    "cooling_stress",
    "retardation",
    "thermal_shock_limit",
]

Shape = Literal["slab", "slab one face", "cylinder", "sphere"]
SHAPES: tuple[Shape, ...] = ("slab", "slab one face", "cylinder", "sphere")
_MEAN_LAG = {
    "slab": 12.0,
    "slab one face": 3.0,
    "cylinder": 32.0,
    "sphere": 60.0,
}  # mean minus surface = R d^2/(this k)

YOUNG = 72.0  # GPa: open data, median 73 to 74 for soda-lime and obsidian-like glass; printed 70 to 74
POISSON = 0.22  # printed 0.22 to 0.23
DIFFUSIVITY = 0.5  # mm2/s: printed 0.51 to 0.60 for soda-lime, 0.51 to 0.68 for rhyolite glass and melt
SHOCK_STRENGTH = 30.0  # MPa: ground or stony castings fail at 20 to 30 (from memory)
LASTING_STRENGTH = 7.0  # MPa: design stress for a long life (from memory)
_STRESS_OPTIC = 2.7e-12  # per Pa (from memory)
_PRACTICE = (
    9400.0  # K mm2/h: thickness squared times first rate of data/cooling_practice.csv, for alpha 90 (7900 to 9700)
)
_ROOM = 20.0  # °C


@dataclass(frozen=True, slots=True)
class CoolingStep:
    """One line of a kiln schedule.

    Parameters
    ----------
    what : what it is for.
    start, end : °C.
    rate : K/h downwards; 0 for a hold.
    hours : how long it takes.
    """

    what: str
    start: float
    end: float
    rate: float
    hours: float


@dataclass(frozen=True, slots=True)
class CoolingSchedule:
    """How to cool a casting.

    Parameters
    ----------
    steps : hold, slow cooling, two faster steps to room temperature.
    alpha : expansion used, 1e-7 per K.
    annealing_sd : standard deviation of the soak temperature in K.
    practice_rate : first rate in K/h of the common casting table for the same thickness and expansion, about 2.7
    times slower
        than the 1 MPa rule.
    warnings : what the maker must know.
    """

    steps: tuple[CoolingStep, ...]
    alpha: float
    annealing_sd: float
    practice_rate: float
    warnings: tuple[str, ...]

    @property
    def hours(self) -> float:
        """Length of the whole schedule."""
        return sum(step.hours for step in self.steps)


def cooling_rate(
    shape: str,
    size: ArrayLike,
    *,
    alpha: ArrayLike = 90.0,
    stress: float = 1.0,
    young: float = YOUNG,
    poisson: float = POISSON,
    diffusivity: float = DIFFUSIVITY,
) -> Array:
    """Cooling rate in K/h that gives a surface stress.

    Parameters
    ----------
    shape : "slab" (cooled on both faces), "slab one face" (as in a sand bed), "cylinder" or "sphere".
    size : thickness or diameter in mm.
    alpha : expansion in 1e-7 per K.
    stress : MPa.
    young, poisson, diffusivity : GPa, none, mm2/s.

    Raises
    ------
    ValueError
        For an unknown shape, or a size, expansion, stress or constant that is not above 0.
    """
    lag = _lag(shape)
    d, a = _positive("size", size), _positive("alpha", alpha)
    for name, value in (("stress", stress), ("young", young), ("diffusivity", diffusivity)):
        _positive(name, value)
    # R = lag k (1 - nu) sigma/(E alpha d^2), in K/s; MPa over GPa is 1e-3, alpha is 1e-7
    kelvin_per_second = lag * diffusivity * (1.0 - poisson) * stress * 1e-3 / (young * a * 1e-7 * d**2)
    return np.asarray(3600.0 * kelvin_per_second)[()]


def cooling_stress(shape: str, size: ArrayLike, rate: ArrayLike, *, alpha: ArrayLike = 90.0) -> Array:
    """Surface stress in MPa that a rate in K/h gives; parameters and errors as `cooling_rate`."""
    return np.asarray(_positive("rate", rate) / cooling_rate(shape, size, alpha=alpha))[()]


def thermal_shock_limit(
    alpha: ArrayLike = 90.0, *, strength: float = SHOCK_STRENGTH, young: float = YOUNG, poisson: float = POISSON
) -> Array:
    """Sudden step in K that cracks a surface: sigma (1 - nu)/(E alpha); raises ValueError where not above 0."""
    step = (
        _positive("strength", strength)
        * 1e-3
        * (1.0 - poisson)
        / (_positive("young", young) * _positive("alpha", alpha) * 1e-7)
    )
    return np.asarray(step)[()]


def retardation(stress: ArrayLike) -> Array:
    """Optical retardation in nm per cm of path of a stress in MPa, between crossed polarisers: about 27 per MPa."""
    return np.asarray(np.asarray(stress, dtype=float) * 1e6 * _STRESS_OPTIC * 1e7)[()]


def anneal_schedule(
    composition: Composition,
    shape: str,
    size: float,
    *,
    stress: float = 1.0,
    in_mould: bool = False,
    alpha: float | None = None,
) -> CoolingSchedule:
    """Soak and cooling of a casting of one glass.

    Soak at T(10^12 Pa s) + 25 °C for 0.16 h per mm, at least 1 h, doubled for a piece cooled from one face or inside a
    mould; then the allowed rate down to the strain point - 30 °C, 1.8 times that over the next 55 °C, 6 times that to
    room temperature, never above the rate of the thermal-shock limit (ratios as in the casting table of
    ``data/cooling_practice.csv``).

    Parameters
    ----------
    composition : wt%.
    shape, size, stress : as `cooling_rate`; for a lopsided piece give the next thickness up.
    in_mould : still in its sand or plaster: then it cools from one face, and `size` counts double for a slab.
    alpha : measured expansion in 1e-7 per K, where there is one.

    Raises
    ------
    ValueError
        As `cooling_rate`, `meltdoe.glass.viscosity` and `meltdoe.glass.expansion`.
    """
    effective = "slab one face" if in_mould and _plain(shape) == "slab" else shape
    estimate = None if alpha is not None else expansion_estimate(composition)
    value = float(alpha) if alpha is not None else float(estimate.alpha) if estimate else 0.0
    rate = float(cooling_rate(effective, size, alpha=value, stress=stress))
    shock_rate = float(cooling_rate(effective, size, alpha=value, stress=SHOCK_STRENGTH))
    points = {point.id: point for point in fixed_points(composition)}
    soak, slow_end = points["annealing"].celsius, points["strain"].celsius - 30.0
    second_end = max(slow_end - 55.0, _ROOM)
    hold = max(1.0, 0.16 * size) * (2.0 if in_mould or _plain(shape) == "slab one face" else 1.0)
    rates = [min(factor * rate, shock_rate) for factor in (1.0, 1.8, 6.0)]
    steps = [CoolingStep("soak", soak, soak, 0.0, hold)]
    for what, start, end, fall in zip(
        ("slow cooling through the annealing range", "second cooling", "cooling to room temperature"),
        (soak, slow_end, second_end),
        (slow_end, second_end, _ROOM),
        rates,
        strict=True,
    ):
        steps.append(CoolingStep(what, start, end, fall, (start - end) / fall))
    warnings = [*annealing_warnings(composition), *(estimate.warnings if estimate else ())]
    warnings.append("the soak temperature is computed: confirm it with a sag test or between crossed polarisers")
    if float(cooling_stress(effective, size, rates[2], alpha=value)) > LASTING_STRENGTH:
        warnings.append(
            f"the last step stresses the surface above {LASTING_STRENGTH:g} MPa: slow it for a flawed or ground piece"
        )
    practice = _practice() * 90.0 / value / size**2 * _lag(effective) / _lag("slab")
    return CoolingSchedule(tuple(steps), value, points["annealing"].sd, practice, tuple(warnings))


@cache
def _practice() -> float:
    """K mm2/h: thickness squared times the first rate of the casting table for alpha 90, the median of its rows."""
    rows = table("cooling_practice")
    return float(np.median([number(row, "thickness_mm") ** 2 * number(row, "first_K_per_h") for row in rows]))


def _plain(shape: str) -> str:
    return shape.strip().lower().replace("_", " ").replace("-", " ")


def _lag(shape: str) -> float:
    if _plain(shape) not in _MEAN_LAG:
        raise ValueError(f'shape "{shape}" is not known{nearest(shape, SHAPES)}; shapes are {", ".join(SHAPES)}')
    return _MEAN_LAG[_plain(shape)]


def _positive(name: str, value: ArrayLike) -> Array:
    values = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(values) & (values > 0.0)):
        raise ValueError(f"{name} must be above 0, not {values}")
    return values

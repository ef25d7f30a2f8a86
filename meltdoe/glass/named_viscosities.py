"""Named viscosities of the trade, and what they mean for one glass: fixed points, pouring range, rise of bubbles.

The fixed points are given to the user in °C. Measured temperatures of 10^12 Pa s lie above those of FLUXFIT by a
median of 16 to 38 °C in fluxed obsidian (scatter 8 to 35 °C), so 25 °C is added to its annealing and strain points,
with an uncertainty of at least 30 °C: confirm with a sag or polariser test. The pouring limits come from the
published curve of container glass at usual ladling temperatures, 1100 to 1200 °C (the temperatures are common
practice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from meltdoe.glass.oxides import Array, Composition, to_mole_percent
from meltdoe.glass.reference_tables import number, table
from meltdoe.glass.viscosity_models import ModelName, temperature_at

__all__ = [
    "POUR_GOOD",
    "POUR_HOPELESS",
    "POUR_MARGINAL",
    "FixedPoint",
    "PouringRange",
    "bubble_rise",
    "fixed_points",
    "pour_verdict",
    "pouring_range",
]

POUR_GOOD = 2.5
"""log10 Pa s at or below which a melt pours and fills."""
POUR_MARGINAL = 3.2
"""log10 Pa s up to which it pours slowly and freezes in thin sections."""
POUR_HOPELESS = 4.0
"""log10 Pa s above which it does not leave the crucible in a useful time."""

_ANNEALING_SHIFT = 25.0  # K
_ANNEALING_SD = 30.0  # K
_MELT_DENSITY = 2340.0  # kg/m3
_GRAVITY = 9.80665  # m/s2, standard


@dataclass(frozen=True, slots=True)
class FixedPoint:
    """A named viscosity and the temperature where a glass has it.

    Parameters
    ----------
    id, name, meaning : what it is called and what happens there.
    log10 : log10 Pa s.
    celsius, sd : temperature in °C and its standard deviation in K.
    how_obtained : where the viscosity of the point comes from.
    """

    id: str
    name: str
    meaning: str
    log10: float
    celsius: float
    sd: float
    how_obtained: str


@dataclass(frozen=True, slots=True, eq=False)
class PouringRange:
    """Temperatures in °C between which a melt begins to leave the crucible and pours well.

    Parameters
    ----------
    hopeless_below, marginal_from, good_from : °C at 10^4.0, 10^3.2 and 10^2.5 Pa s.
    sd : standard deviation of `good_from` in K.
    warnings : of the viscosity model.
    """

    hopeless_below: Array
    marginal_from: Array
    good_from: Array
    sd: Array
    warnings: tuple[str, ...]


def fixed_points(composition: Composition, model: ModelName = "auto") -> tuple[FixedPoint, ...]:
    """The fixed points of one glass, hottest first.

    Raises
    ------
    ValueError
        As `meltdoe.glass.viscosity`.
    """
    rows = table("fixed_points")
    wanted = np.array([number(row, "log10_Pa_s") for row in rows])
    found = temperature_at(composition, wanted, model)
    points = []
    for row, log10, celsius, sd in zip(rows, wanted.tolist(), found.celsius.tolist(), found.sd.tolist(), strict=True):
        if log10 >= 12.0:
            celsius += _ANNEALING_SHIFT if found.model == "fluxfit" else 0.0
            sd = max(sd, _ANNEALING_SD)
        points.append(FixedPoint(row["id"], row["name"], row["meaning"], log10, celsius, sd, row["how_obtained"]))
    return tuple(points)


def annealing_warnings(composition: Composition) -> tuple[str, ...]:
    """Why the annealing temperature of this glass must be found by trial, empty where the model may be used."""
    x = to_mole_percent(composition)
    boron = x.get("B2O3", np.zeros(()))
    excess = np.asarray(sum(x.get(o, np.zeros(())) for o in ("Na2O", "K2O", "Li2O")) - x.get("Al2O3", np.zeros(())))
    # borax brings one Na2O for two B2O3; 10 parts of boric oxide alone bring about 9 mol% with next to no spare alkali
    if np.any((boron > 5.0) & (excess < 0.25 * boron)):
        return (
            "boric oxide without soda: the computed annealing temperature is too low to be believed, find it by trial",
        )
    return ()


def pouring_range(composition: Composition, model: ModelName = "auto", *, known_analysis: bool = True) -> PouringRange:
    """From which temperature a melt pours; parameters and errors as `meltdoe.glass.viscosity`."""
    good = temperature_at(composition, POUR_GOOD, model, known_analysis=known_analysis)
    marginal = temperature_at(composition, POUR_MARGINAL, model).celsius
    hopeless = temperature_at(composition, POUR_HOPELESS, model).celsius
    return PouringRange(hopeless, marginal, good.celsius, good.sd, good.warnings)


def pour_verdict(log10: float) -> str:
    """ "good", "marginal", "poor" or "hopeless" for a log10 Pa s at the pour."""
    if log10 <= POUR_GOOD:
        return "good"
    if log10 <= POUR_MARGINAL:
        return "marginal"
    return "poor" if log10 <= POUR_HOPELESS else "hopeless"


def bubble_rise(diameter: ArrayLike, log10: ArrayLike) -> Array:
    """Speed in mm/h at which a bubble of `diameter` mm rises in a melt (Stokes, density 2340 kg/m3).

    A clean bubble is up to half as fast again (Hadamard and Rybczynski, from memory), so this is the slower bound.
    """
    radius = np.asarray(diameter, dtype=float) / 2000.0  # m
    speed = 2.0 * _MELT_DENSITY * _GRAVITY * radius**2 / (9.0 * 10.0 ** np.asarray(log10, dtype=float))  # m/s
    return np.asarray(speed * 3.6e6)[()]

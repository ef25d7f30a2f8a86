"""Invented truths for what chemistry is worth: they follow its viscosity, run 60 °C off, contradict it, or ignore it.

Every truth is a chain of two pass/fail outcomes over peak temperature, share of flux and things of which chemistry
knows nothing. Where it plays a part, whether a melt pours depends on the viscosity of its glass, with a cliff that is
no curve of the program's own.

There are two workshops. The first (soda ash) is for choosing worth and trust. The second (borax, other rock, other
ranges, steeper cliffs, one idle factor) is for the figures that are published, and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meltdoe.charge.chemistry_prior import with_chemistry
from meltdoe.charge.derived_quantities import Property
from meltdoe.series import Amount, Budget, Choice, Kiln, MeltSeries, Outcome
from meltdoe.series.chemistry import Chemistry
from meltdoe.series.factor import Factor
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.recipe import OwnMaterial, Part, Recipe
from meltdoe.units import Quantity

from .policy_truths import Columns, WrittenTruth

__all__ = ["MELTS", "SORTS", "WORKSHOPS", "chemistry_truth"]

MELTS = 16
SORTS = ("follows", "60 °C stiffer", "60 °C thinner", "flat", "turned round")
_SHIFT = {"60 °C stiffer": -60.0, "60 °C thinner": 60.0}

_Log10 = Callable[[float], NDArray[np.float64]]
"""log10 Pa s of every melt, at a peak so many °C hotter than it is."""
_Stages = Callable[[str, Columns, _Log10], Sequence[NDArray[np.float64]]]


@dataclass(frozen=True)
class _Workshop:
    rock: dict[str, float]
    flux: str
    factors: tuple[Factor, ...]
    log_odds: _Stages

    def series(self) -> MeltSeries:
        part = Part(parse_expression("flux"), self.flux)
        return MeltSeries(
            "invented",
            self.factors,
            (Outcome("contained", "pass"), Outcome("poured", "pass", after="contained")),
            target_chance=0.8,
            budget=Budget(melts=MELTS),
            kiln=Kiln(melts_per_firing=1),
            recipe=Recipe("quarry rock", parts=(part,), charge=Quantity(900.0, "g"), pours_at="peak"),
            materials=(OwnMaterial("quarry rock", analysis=self.rock),),
        )


def _soda(sort: str, coded: Columns, log10: _Log10) -> Sequence[NDArray[np.float64]]:
    packing = 2.0 * coded["packing"] - 1.0
    contained = 3.0 - 3.0 * np.maximum(0.6 * coded["peak"] + 0.8 * coded["flux"] - 0.5, 0.0)
    if sort == "flat":
        return contained, 1.0 + 1.3 * coded["hold"] + packing
    thin = 3.0 - log10(_SHIFT.get(sort, 0.0))
    if sort == "turned round":  # what is stiff pours: no glass does, but a wrong recipe in the file may look like it
        thin = -0.3 - thin
    return contained, 0.6 + 3.0 * np.clip(thin, -1.5, 0.7) + 0.6 * coded["hold"] + 0.5 * packing


def _borax(sort: str, coded: Columns, log10: _Log10) -> Sequence[NDArray[np.float64]]:
    sand = np.array([1.0, -0.4, -0.6])[coded["sand"].astype(int)]
    contained = 2.6 - 4.0 * np.maximum(0.8 * coded["flux"] + 0.7 * coded["hold"] - 0.6, 0.0)
    if sort == "flat":
        return contained, 0.0 + 1.5 * coded["hold"] + 1.4 * sand
    if sort == "turned round":  # heat and flux both hurt, and not by way of the viscosity
        return contained, -0.2 - 1.8 * coded["peak"] - 1.2 * coded["flux"] + 0.6 * coded["hold"] + 0.8 * sand
    thin = 3.1 - log10(_SHIFT.get(sort, 0.0))
    return contained, 0.3 + 2.4 * np.clip(thin, -2.0, 1.0) + 0.5 * coded["hold"] + 0.8 * sand


WORKSHOPS = {
    "tuning": _Workshop(
        {"SiO2": 74.6, "TiO2": 0.2, "Al2O3": 13.1, "FeO": 1.5, "MgO": 0.2, "CaO": 0.9, "Na2O": 4.2, "K2O": 4.5},
        "soda ash",
        (
            Amount("peak", 1060.0, 1240.0, unit="°C", step=20.0),
            Amount("flux", 6.0, 24.0, unit="wt%", step=1.0),
            Amount("hold", 2.0, 8.0, unit="h", step=1.0),
            Choice("packing", ("tight", "edge")),
        ),
        _soda,
    ),
    "held out": _Workshop(
        {"SiO2": 72.9, "TiO2": 0.3, "Al2O3": 13.6, "FeO": 2.4, "MgO": 0.3, "CaO": 1.5, "Na2O": 4.6, "K2O": 3.9},
        "borax_anhydrous",
        (
            Amount("peak", 1020.0, 1200.0, unit="°C", step=20.0),
            Amount("flux", 6.0, 26.0, unit="wt%", step=2.0),
            Amount("hold", 1.0, 5.0, unit="h", step=0.5),
            Amount("grain", 0.5, 4.5, unit="mm", step=0.5),
            Choice("sand", ("silica", "olivine", "chromite")),
        ),
        _borax,
    ),
}


def chemistry_truth(
    sort: str, chemistry: Chemistry | None, half: str = "tuning", own_term: bool = False
) -> WrittenTruth:
    """A truth of that sort, with a series that hears chemistry as it says, or not at all.

    Parameters
    ----------
    half : "tuning" or "held out".
    own_term : whether viscosity stands in the model of the pour in place of peak and flux.
    """
    workshop = WORKSHOPS[half]
    plain = workshop.series()
    viscosity = Property(plain, "viscosity")
    amounts = {factor.name: factor for factor in plain.factors if isinstance(factor, Amount)}

    def log_odds(coded: Columns) -> Sequence[NDArray[np.float64]]:
        peak, flux = (amounts[name].decoded(coded[name]) for name in ("peak", "flux"))
        return workshop.log_odds(sort, coded, lambda hotter: viscosity({"peak": peak + hotter, "flux": flux}))

    series = plain
    if chemistry is not None or own_term:
        from meltdoe.series.terms import parse_term

        others = [name for name in plain.factor_names if name not in ("peak", "flux")]
        terms = {"poured": tuple(parse_term(name) for name in ("viscosity", *others))} if own_term else {}
        series = with_chemistry(replace(plain, chemistry=chemistry, own_terms=terms))
    return WrittenTruth(sort, series, log_odds)

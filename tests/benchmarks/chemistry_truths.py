"""Invented truths for what chemistry is worth: they follow its viscosity, run 60 °C off, contradict it, or ignore it.

Every truth is a chain of two pass/fail outcomes over peak temperature, share of soda ash, hold and packing. Whether a
melt pours depends on the viscosity of its glass, with a cliff that is no curve of the program's own; whether it is
contained falls with flux and heat. Packing and hold act in ways of which chemistry knows nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meltdoe.charge.chemistry_prior import with_chemistry
from meltdoe.charge.derived_quantities import Property
from meltdoe.series import Amount, Budget, Choice, Kiln, MeltSeries, Outcome
from meltdoe.series.chemistry import Chemistry
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.recipe import OwnMaterial, Part, Recipe
from meltdoe.units import Quantity

from .policy_truths import Columns, WrittenTruth

__all__ = ["MELTS", "SORTS", "chemistry_truth"]

MELTS = 16
_ROCK = {"SiO2": 74.6, "TiO2": 0.2, "Al2O3": 13.1, "FeO": 1.5, "MgO": 0.2, "CaO": 0.9, "Na2O": 4.2, "K2O": 4.5}
_PEAK = Amount("peak", 1060.0, 1240.0, unit="°C", step=20.0)
_FLUX = Amount("flux", 6.0, 24.0, unit="wt%", step=1.0)
_HOLD = Amount("hold", 2.0, 8.0, unit="h", step=1.0)
_PACKING = Choice("packing", ("tight", "edge"))
SORTS = ("follows", "60 °C stiffer", "60 °C thinner", "flat", "turned round")


def _series(**changes: object) -> MeltSeries:
    plain = MeltSeries(
        "invented",
        (_PEAK, _FLUX, _HOLD, _PACKING),
        (Outcome("contained", "pass"), Outcome("poured", "pass", after="contained")),
        target_chance=0.8,
        budget=Budget(melts=MELTS),
        kiln=Kiln(melts_per_firing=1),
        recipe=Recipe("quarry rock", parts=(Part(parse_expression("flux"), "soda ash"),), charge=Quantity(900.0, "g")),
        materials=(OwnMaterial("quarry rock", analysis=_ROCK),),
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def _poured(sort: str, coded: Columns, log10: Callable[[float], NDArray[np.float64]]) -> NDArray[np.float64]:
    if sort == "flat":
        return 1.0 + 1.3 * coded["hold"] + 1.0 * (2.0 * coded["packing"] - 1.0)
    shift = {"60 °C stiffer": -60.0, "60 °C thinner": 60.0}.get(sort, 0.0)
    thin = 3.0 - log10(shift)
    if sort == "turned round":  # what is stiff pours: no glass does, but a wrong recipe in the file may look like it
        thin = -0.3 - thin
    return 0.6 + 3.0 * np.clip(thin, -1.5, 0.7) + 0.6 * coded["hold"] + 0.5 * (2.0 * coded["packing"] - 1.0)


def chemistry_truth(sort: str, worth: float | None, own_term: bool = False) -> WrittenTruth:
    """A truth of that sort, with a series that hears chemistry so many melts' worth, or not at all.

    Parameters
    ----------
    own_term : whether viscosity stands in the model of the pour in place of peak and flux.
    """
    plain = _series()
    viscosity = Property(plain, "viscosity")

    def log_odds(coded: Columns) -> Sequence[NDArray[np.float64]]:
        peak, flux = _PEAK.decoded(coded["peak"]), _FLUX.decoded(coded["flux"])

        def log10(shift: float) -> NDArray[np.float64]:
            return viscosity({"peak": peak + shift, "flux": flux})

        heat = 0.6 * coded["peak"] + 0.8 * coded["flux"]
        return 3.0 - 3.0 * np.maximum(heat - 0.5, 0.0), _poured(sort, coded, log10)

    series = plain
    if worth is not None or own_term:
        from meltdoe.series.terms import parse_term

        names = ("viscosity", "hold", "packing")
        terms = {"poured": tuple(parse_term(name) for name in names)} if own_term else {}
        chemistry = None if worth is None else Chemistry("poured", "contained", worth=worth)
        series = with_chemistry(_series(chemistry=chemistry, own_terms=terms))
    return WrittenTruth(sort, series, log_odds)

"""An invented series with a recipe for the tests of the charge: rock of the maker's own, soda ash or potash, lime."""

from dataclasses import replace

from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.series import Amount, Choice, Circumstance, Kiln, MeltSeries, Outcome
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.recipe import Cooling, Mould, OwnMaterial, Part, Recipe, Supply
from meltdoe.units import Quantity

ROCK = {"SiO2": 74.6, "Al2O3": 13.3, "FeO": 1.5, "MgO": 0.2, "CaO": 0.9, "Na2O": 4.2, "K2O": 4.8, "H2O": 0.5}
PEAK = Amount("peak", 1100, 1240, unit="°C", set_per="firing")
FLUX = Amount("flux", 10, 26, unit="wt%")
KIND = Choice("kind", ("soda ash", "potash", "none"))
STONE = Choice("stone", ("quarry rock", "old glass"))


def part(share, material="", material_by=""):
    return Part(parse_expression(share), material, material_by)


def recipe(**changes):
    given = {"base": "quarry rock", "parts": (part("flux", "soda ash"),), "charge": Quantity(1000, "g")}
    return Recipe(**{**given, **changes})


def charge_series(**changes):
    given = {
        "title": "Invented series",
        "factors": (PEAK, FLUX, KIND, STONE),
        "outcomes": (Outcome("contained", "pass"), Outcome("poured", "pass", after="contained")),
        "kiln": Kiln(2, Quantity(1280, "°C")),
        "recipe": recipe(),
        "materials": (
            OwnMaterial("quarry rock", analysis=ROCK, price=6.0, pack=Quantity(5, "kg"), stock=Quantity(1, "kg")),
            OwnMaterial("old glass", from_melt=1, stock=Quantity(500, "g")),
        ),
        "circumstances": (Circumstance("weighed"),),
    }
    return MeltSeries(**{**given, **changes})


def with_recipe(series, **changes):
    return replace(series, recipe=replace(series.recipe, **changes))


def settings(flux=20.0, peak=1200.0, kind="soda ash", stone="quarry rock"):
    return {"peak": peak, "flux": flux, "kind": kind, "stone": stone}


def melt(number, weighed="", **given):
    return EarlierMelt(number, settings(**given), weighed)


__all__ = ["Cooling", "Mould", "Supply"]

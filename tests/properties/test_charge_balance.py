"""Nothing is made or lost from the bag to the casting, whatever the recipe and however often the glass is remelted."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltdoe.charge.actual_shares import actual_raw
from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.charge.glass_at import glass_of_melts
from meltdoe.charge.shelf import shelf
from meltdoe.charge.shopping import shopping_list
from meltdoe.charge.weights import melt_weights
from meltdoe.glass.materials import find_material
from meltdoe.glass.oxides import molar_mass
from meltdoe.glass.reference_tables import table
from meltdoe.series import Amount, Choice, Circumstance, MeltSeries, Outcome
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.recipe import OwnMaterial, Part, Recipe
from meltdoe.units import Quantity

RAW = [row["id"] for row in table("raw_materials") if not row["refused"] and row["role"] != "water"]
ROCKS = [row["id"] for row in table("base_glasses") if row["kind"].startswith("obsidian")]
LOT = "glass of melt 1"


@st.composite
def series(draw):
    """A recipe of one to four parts on either basis; the base is a rock or the glass of melt 1."""
    names = draw(st.lists(st.sampled_from(RAW), min_size=1, max_size=4, unique=True))
    parts = [Part(parse_expression("flux"), names[0])]
    parts += [Part(parse_expression(f"{draw(st.integers(1, 100)) / 10}"), name) for name in names[1:]]
    recipe = Recipe(
        base_by="base",
        shares_of=draw(st.sampled_from(["total", "base"])),
        parts=tuple(parts),
        charge=Quantity(draw(st.integers(50, 5000)), "g"),
        balance=Quantity(draw(st.sampled_from([1.0, 0.5, 0.1, 5.0])), "g"),
        weighed="weighed",
    )
    factors = (Amount("flux", 0, 40, unit="wt%"), Choice("base", (draw(st.sampled_from(ROCKS)), LOT)))
    own = (OwnMaterial(LOT, from_melt=1),)
    return MeltSeries(
        "x", factors, (Outcome("o", "pass"),), recipe=recipe, materials=own, circumstances=(Circumstance("weighed"),)
    )


def settings_of(made, flux, remelted):
    return {"flux": flux, "base": LOT if remelted else made.factors[1].options[0]}


@settings(deadline=None, max_examples=60)
@given(series(), st.floats(0, 40), st.booleans())
def test_the_charge_is_its_lines_and_its_glass_and_gas(made, flux, remelted):
    stocked = shelf(made, [EarlierMelt(1, settings_of(made, 20.0, False))])
    found = melt_weights(made, made.raw(settings_of(made, flux, remelted)), stocked)
    charge = made.recipe.charge.value
    assert sum(line.weight.value for line in found.lines) == pytest.approx(found.charge.value)
    assert found.charge.value == pytest.approx(charge, abs=made.recipe.balance.value / 2 + 1e-6)
    assert found.glass + found.gas.grams == pytest.approx(charge)
    assert sum(line.share for line in found.lines) == pytest.approx(100.0)
    assert sum(found.composition.values()) == pytest.approx(100.0)


@settings(deadline=None, max_examples=60)
@given(series(), st.lists(st.tuples(st.floats(1, 40), st.integers(0, 3), st.integers(1, 900)), min_size=1, max_size=5))
def test_oxides_of_any_chain_of_remelts_are_those_of_all_that_was_bought(made, chain):
    """Melt n is made of rock, flux and glass of an earlier melt; its oxides are followed by hand from the bags."""
    rock, flux = made.factors[1].options[0], made.recipe.parts[0].material
    oxides_of, melts = {}, []
    for number, (soda, back, grams) in enumerate(chain, 1):
        parts = {rock: 500.0, flux: soda}
        older = number - back
        if back and older >= 1:
            parts[f"melt {older}"] = float(grams)
        text = ", ".join(f"{name} {mass!r} g" for name, mass in parts.items())
        melts.append(EarlierMelt(number, settings_of(made, 20.0, False), text))
        made_of: dict[str, float] = {}
        for name, mass in parts.items():
            yields = oxides_of[name] if name in oxides_of else find_material(name).oxides
            for oxide, share in yields.items():
                made_of[oxide] = made_of.get(oxide, 0.0) + mass * share
        whole = sum(made_of.values())
        oxides_of[f"melt {number}"] = {oxide: mass / whole for oxide, mass in made_of.items()}
    found = glass_of_melts(made, melts)
    for row in range(len(melts)):
        expected = {oxide: 100.0 * share for oxide, share in oxides_of[f"melt {row + 1}"].items() if share > 0.0}
        assert found.one(row) == pytest.approx(expected, abs=1e-9)
    lost = sum(
        share * sum(moles * molar_mass(gas) for gas, moles in find_material(name).gas.items()) / 1000.0
        for name, share in ((rock, 500.0), (flux, chain[0][0]))
    )
    assert found.loss[0] == pytest.approx(100.0 * lost / (500.0 + chain[0][0]), abs=1e-9)


@settings(deadline=None, max_examples=40)
@given(series(), st.lists(st.tuples(st.floats(0, 40), st.booleans()), min_size=1, max_size=6))
def test_only_remelted_charges_have_another_flux_than_is_written(made, rows):
    melts = [EarlierMelt(1, settings_of(made, 20.0, False))]
    melts += [EarlierMelt(i, settings_of(made, flux, remelted)) for i, (flux, remelted) in enumerate(rows, 2)]
    raw, actual = made.raw_table(m.settings for m in melts), actual_raw(made, melts)
    for row, melt in enumerate(melts):
        if melt.settings["base"] != LOT:
            assert np.array_equal(raw[row], actual[row])
        elif melt.settings["flux"] <= 10.0:
            assert actual[row, 0] > raw[row, 0], "the old glass brings its own on top"


@settings(deadline=None, max_examples=40)
@given(series(), st.lists(st.floats(0, 40), min_size=1, max_size=8), st.integers(0, 4))
def test_what_is_bought_is_what_is_weighed_with_room(made, fluxes, spare):
    raw = made.raw_table(settings_of(made, flux, False) for flux in fluxes)
    found = shopping_list(made, raw, list(range(len(fluxes))), shelf(made), spare)
    assert sum(item.needed for item in found.items) == pytest.approx(len(fluxes) * made.recipe.charge.value)
    for item in found.items:
        assert item.buy >= item.needed - item.stock
        assert item.spare >= 0.0

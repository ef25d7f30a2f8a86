"""Oxides, formulas, materials, weighing out, lots and crucible fill."""

import copy
import pickle
from dataclasses import asdict

import numpy as np
import pytest

from meltdoe import glass
from meltdoe.glass.formula import fired, parse_formula
from meltdoe.glass.materials import Material, find_material
from meltdoe.glass.oxides import to_mole_percent, to_weight_percent


def test_public_names_are_sorted_and_importable():
    assert list(glass.__all__) == sorted(glass.__all__)
    assert dir(glass) == list(glass.__all__)
    for name in glass.__all__:
        assert getattr(glass, name).__doc__
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = glass.no_such_name


def test_mole_per_cent_by_hand():
    """60.083 g of silica and 61.979 g of soda are one mole each."""
    assert to_mole_percent({"SiO2": 60.083, "Na2O": 61.979}) == pytest.approx({"SiO2": 50.0, "Na2O": 50.0})
    assert to_weight_percent({"SiO2": 1, "Na2O": 1})["Na2O"] == pytest.approx(100 * 61.979 / 122.062)


def test_oxides_of_many_glasses_at_once():
    many = to_mole_percent({"SiO2": [80.0, 70.0], "Na2O": [20.0, 30.0]})
    one = to_mole_percent({"SiO2": 70.0, "Na2O": 30.0})
    assert many["Na2O"][1] == pytest.approx(one["Na2O"])


@pytest.mark.parametrize(
    ("composition", "words"),
    [
        ({"Na20": 5.0}, 'did you mean "Na2O"'),
        ({"SiO2": -1.0}, "0 or more"),
        ({"SiO2": float("nan")}, "0 or more"),
        ({}, "no oxide"),
        ({"SiO2": 0.0}, "nothing"),
        ({"SiO2": [1.0, 2.0], "Na2O": [1.0, 2.0, 3.0]}, "lengths"),
    ],
)
def test_faulty_compositions_are_named(composition, words):
    with pytest.raises(ValueError, match=words):
        to_mole_percent(composition)


@pytest.mark.parametrize(
    ("formula", "atoms"),
    [
        ("Na2CO3", {"Na": 2, "C": 1, "O": 3}),
        ("Na2B4O7.10H2O", {"Na": 2, "B": 4, "O": 17, "H": 20}),
        ("Na2B4O7·10H2O", {"Na": 2, "B": 4, "O": 17, "H": 20}),
        ("K2CO3.1.5H2O", {"K": 2, "C": 1, "O": 4.5, "H": 3}),
        ("CaMg(CO3)2", {"Ca": 1, "Mg": 1, "C": 2, "O": 6}),
        ("Na₂CO₃ · H₂O", {"Na": 2, "C": 1, "O": 4, "H": 2}),
        ("2SiO2", {"Si": 2, "O": 4}),
        ("CuCO3.Cu(OH)2", {"Cu": 2, "C": 1, "O": 5, "H": 2}),
        ("Ca3(PO4)2", {"Ca": 3, "P": 2, "O": 8}),
    ],
)
def test_formulas_are_read(formula, atoms):
    assert parse_formula(formula) == pytest.approx(atoms)


@pytest.mark.parametrize("formula", ["", "Na2CO3.", "Na2(CO3", "Na2CO3)", "soda", "Na2-CO3", "(Na.2H2O)", "Na0"])
def test_faulty_formulas_are_refused(formula):
    with pytest.raises(ValueError, match="no chemical formula"):
        parse_formula(formula)


def test_iron_takes_the_oxygen_of_the_formula():
    oxides, gases = fired("Fe3O4")
    assert oxides == pytest.approx({"Fe2O3": 1.0, "FeO": 1.0})
    assert gases == {}
    assert fired("FeO")[0] == pytest.approx({"FeO": 1.0})
    assert fired("FeCO3") == ({"FeO": 1.0}, {"CO2": 1.0})


def test_reducing_and_unknown_elements_are_refused():
    for formula in ("SiC", "C6H12O6", "Fe"):
        with pytest.raises(ValueError, match="short of oxygen"):
            fired(formula)
    with pytest.raises(ValueError, match="holds Cl"):
        fired("NaCl")


@pytest.mark.parametrize(
    ("name", "id"),
    [
        ("Soda ash", "soda_ash"),
        ("soda-ash", "soda_ash"),
        ("potash", "potassium_carbonate"),
        ("whiting", "limestone"),
        ("borax", "borax_decahydrate"),
        ("anhydrous borax", "borax_anhydrous"),
        ("cullet", "soda_lime_container"),
        ("obsidian", "obs_medicine_lake"),
        ("Na2CO3", "soda_ash"),
        ("obs_jr1", "obs_jr1"),
    ],
)
def test_materials_are_found_by_the_names_of_the_trade(name, id):
    assert find_material(name).id == id


def test_unknown_and_refused_materials():
    with pytest.raises(ValueError, match='did you mean "soda ash"'):
        find_material("soda ach")
    with pytest.raises(ValueError, match="chemical formula"):
        find_material("unobtainium")
    with pytest.raises(ValueError, match="give its analysis"):
        find_material("Frit 3134")
    with pytest.raises(ValueError, match="holds Cl"):
        find_material("NaCl")
    with pytest.raises(ValueError, match="refused: gives off HF"):
        find_material("fluorspar")
    with pytest.raises(ValueError, match="no base glass"):
        glass.base_glass("soda_ash")


def test_a_formula_knows_whether_it_is_a_flux():
    assert find_material("Na2SiO3").role == "flux"
    assert find_material("CoCO3").role == "stabiliser"
    assert find_material("Li2O").role == "flux"


@pytest.mark.parametrize(
    ("analysis", "role"),
    [
        ({"Na2O": 30.0, "K2O": 20.0, "CaO": 6.0, "MgO": 4.0, "CO2": 40.0}, "flux"),  # plant ash
        ({"Na2O": 31.0, "B2O3": 69.0}, "flux"),
        ({"SiO2": 74.0, "Al2O3": 13.0, "Na2O": 4.0, "K2O": 4.5, "CaO": 4.5}, "glass"),
        ({"SiO2": 35.0, "Al2O3": 14.0, "CaO": 41.0, "MgO": 10.0}, "glass"),  # slag
        ({"SiO2": 55.0, "PbO": 33.0, "K2O": 12.0}, "glass"),
        ({"NiO": 63.0, "CO2": 37.0}, "stabiliser"),
        ({"CaO": 50.0, "SiO2": 5.0, "CO2": 45.0}, "stabiliser"),  # impure limestone
    ],
)
def test_an_analysis_tells_a_flux_from_a_glass(analysis, role):
    assert Material.from_analysis("own", analysis).role == role


def test_own_material_by_analysis_is_closed_and_loses_its_water():
    own = Material.from_analysis("hill", {"SiO2": 74.0, "Al2O3": 13.0, "Na2O": 4.0, "K2O": 4.5, "H2O": 2.0})
    assert own.glass_share + own.loss_on_firing == pytest.approx(1.0)
    assert own.loss_on_firing == pytest.approx(2.0 / 97.5)
    with pytest.raises(ValueError, match=r"adds up to 50\.0"):
        Material.from_analysis("half", {"SiO2": 50.0})
    with pytest.raises(ValueError, match="fluorine"):
        Material.from_analysis("opal", {"SiO2": 95.0, "F": 5.0})


def test_water_can_be_set():
    """0.3 wt% of water in obsidian is about 19 litres per kg at 1100 °C."""
    wet = find_material("obsidian").with_water(0.3)
    assert wet.glass_share == pytest.approx(0.997)
    assert glass.gas_per_kg({"rock": 1.0}, {"rock": wet}) == pytest.approx(18.8, abs=0.1)
    assert wet.with_water(0.0).gas == {}
    with pytest.raises(ValueError, match="from 0 up to 100"):
        wet.with_water(100.0)


def test_batch_by_hand():
    """100 parts of rock and 15 of soda ash, 460 g: 400 g and 60 g, 0.5661 mol of CO2, 24.9 g lost."""
    batch = glass.batch({"obsidian": 100, "soda_ash": 15}, 460)
    assert batch.grams == pytest.approx({"obsidian": 400.0, "soda_ash": 60.0})
    assert batch.gas.mol == pytest.approx(60.0 / 105.988)
    assert batch.gas.litres == pytest.approx(60.0 / 105.988 * 112.68, rel=1e-4)
    assert batch.gas.moles == pytest.approx({"CO2": 60.0 / 105.988})
    assert batch.glass == pytest.approx(460.0 - 60.0 * 0.41523, abs=1e-3)
    assert batch.mass == pytest.approx(460.0)
    assert batch.loss == pytest.approx(100.0 * 60.0 * 0.41523 / 460.0, abs=1e-3)
    assert sum(batch.composition.values()) == pytest.approx(100.0)
    assert batch.gas_per_kg == pytest.approx(glass.gas_per_kg({"obsidian": 100, "soda_ash": 15}))
    assert batch.gas.litres_at(20.0) < batch.gas.litres


def test_batch_for_a_wanted_mass_of_glass():
    batch = glass.batch({"obsidian": 80, "soda ash": 20}, 1000, of="glass")
    assert batch.glass == pytest.approx(1000.0)
    assert sum(batch.grams.values()) == pytest.approx(1000.0 + batch.gas.grams)


@pytest.mark.parametrize(
    ("parts", "mass", "words"),
    [
        ({}, 100, "no material"),
        ({"obsidian": -1}, 100, "0 or more"),
        ({"obsidian": 0}, 100, "nothing"),
        ({"obsidian": 1}, 0, "above 0 g"),
        ({"obsidian": 1}, float("nan"), "above 0 g"),
        ({"water": 1}, 100, "stays as glass"),
        ({"obsidan": 1}, 100, 'did you mean "obsidian"'),
    ],
)
def test_faulty_recipes_are_named(parts, mass, words):
    with pytest.raises(ValueError, match=words):
        glass.batch(parts, mass)


def test_weights_add_up_to_the_gram():
    batch = glass.batch({"obsidian": 100, "soda_ash": 15, "whiting": 5}, 500)
    assert batch.weighed() == {"obsidian": 417.0, "soda_ash": 62.0, "whiting": 21.0}
    assert sum(batch.weighed(0.1).values()) == pytest.approx(500.0)
    assert glass.round_to_total({"a": 57.99999999999999, "b": 2.00000000000001}) == {"a": 58.0, "b": 2.0}
    with pytest.raises(ValueError, match="step"):
        batch.weighed(0.0)
    with pytest.raises(ValueError, match="0 or more"):
        glass.round_to_total({"a": -1.0})


def test_a_pinch_needs_a_finer_balance():
    batch = glass.batch({"obsidian": 100, "cobalt oxide": 0.1}, 500)
    assert batch.needs_finer_balance(1.0) == ("cobalt oxide",)
    assert batch.needs_finer_balance(0.01) == ()


def test_many_recipes_at_once_match_one_by_one():
    soda = np.array([0.0, 10.0, 25.0])
    many = glass.glass_composition({"obsidian": 100.0, "soda_ash": soda})
    gas = glass.gas_per_kg({"obsidian": 100.0, "soda_ash": soda})
    for i, share in enumerate(soda):
        one = glass.batch({"obsidian": 100.0, "soda_ash": share}, 1.0)
        assert {oxide: values[i] for oxide, values in many.items()} == pytest.approx(dict(one.composition))
        assert gas[i] == pytest.approx(one.gas_per_kg)


def test_lots_carry_their_flux_along():
    """A: 100 rock + 20 soda is 111.70 g of glass. Half A, half rock, 5 of fresh soda: 14.7 parts of soda in all."""
    book = glass.lot_book([glass.Lot("A", {"obsidian": 100, "soda_ash": 20})])
    recipe = {"A": 50, "obsidian": 50, "soda_ash": 5}
    a_glass = 100.0 + 20.0 * 0.58477
    soda, rock = 5 + 50 * 20 / a_glass, 50 + 50 * 100 / a_glass
    assert book.traced(recipe) == pytest.approx({"obs_medicine_lake": rock, "soda_ash": soda})
    assert book.flux_share(recipe) == pytest.approx(100 * soda / rock, rel=1e-5)
    assert book.flux_share(recipe, fluxes=["borax"]) == 0.0
    direct = glass.batch({"obsidian": rock, "soda_ash": soda}, 1.0)
    assert dict(book.batch(recipe, 1.0).composition) == pytest.approx(dict(direct.composition))
    assert book.batch(recipe, 105.0).gas.mol == pytest.approx(5.0 / 105.988, rel=1e-4)


def test_remelting_a_glass_alone_changes_nothing_over_many_generations():
    lots = [glass.Lot("g0", {"obsidian": 100, "borax_anhydrous": 12})]
    lots += [glass.Lot(f"g{i}", {f"g{i - 1}": 1.0}) for i in range(1, 300)]
    book = glass.lot_book(reversed(lots))
    assert book.generations["g299"] == 300
    assert book.materials["g299"].oxides == pytest.approx(dict(book.materials["g0"].oxides))
    assert book.flux_share({"g299": 7.0}) == pytest.approx(12.0)


def test_a_measured_lot_stands_in_place_of_the_computed_one():
    measured = {"SiO2": 70.0, "Al2O3": 12.0, "Na2O": 14.0, "K2O": 4.0}
    book = glass.lot_book([glass.Lot("A", {"obsidian": 100, "soda_ash": 20}, analysis=measured)])
    assert dict(book.batch({"A": 1}, 1.0).composition) == pytest.approx(measured)
    assert book.flux_share({"A": 1}) == pytest.approx(20.0)


def test_own_materials_are_traced_under_their_own_name():
    own = {"hill rock": Material.from_analysis("h1", {"SiO2": 76.0, "Al2O3": 13.0, "Na2O": 4.5, "K2O": 6.5})}
    book = glass.lot_book([glass.Lot("A", {"Hill Rock": 100, "Na2CO3": 10})], own)
    assert set(book.traced({"A": 1.0})) == {"hill rock", "soda_ash"}
    assert book.flux_share({"A": 1.0}) == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("lots", "words"),
    [
        ([("A", {"B": 1}), ("B", {"C": 1}), ("C", {"A": 1, "obsidian": 2})], "cannot go back to itself"),
        ([("A", {"A": 1})], 'cannot go back to itself: "A" made of "A"'),
        ([("A", {"obsidian": 1}), ("a", {"obsidian": 1})], "two lots"),
        ([("Borax", {"obsidian": 1})], "name of a material"),
        ([("A", {"mystery": 1})], 'lot "A"'),
    ],
)
def test_faulty_lots_are_named(lots, words):
    with pytest.raises(ValueError, match=words):
        glass.lot_book([glass.Lot(name, parts) for name, parts in lots])


def test_a_share_of_flux_needs_rock():
    with pytest.raises(ValueError, match="no rock"):
        glass.lot_book([]).flux_share({"soda_ash": 10, "silica": 50})


@pytest.mark.parametrize(
    ("parts", "share"),
    [
        ({"obsidian": 100, "borax_anhydrous": 20}, 2 / 3),
        ({"obsidian": 100, "soda_ash": 20}, 1 / 2),
        ({"obsidian": 100, "borax": 20}, 1 / 3),
        ({"perlite": 100}, 1 / 3),
        ({"obsidian": 100, "borax": 0}, 2 / 3),
    ],
)
def test_crucible_fill(parts, share):
    assert glass.fill_limit(parts).share == pytest.approx(share)


def test_batches_and_lots_travel_between_processes():
    book = glass.lot_book([glass.Lot("A", {"obsidian": 100, "soda_ash": 20})])
    batch = book.batch({"A": 1}, 100)
    assert pickle.loads(pickle.dumps(book)) == copy.deepcopy(book) == book
    assert asdict(batch)["glass"] == batch.glass

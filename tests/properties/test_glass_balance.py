"""Nothing is made or lost between the bag and the glass, whatever the recipe."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltdoe import glass
from meltdoe.glass.oxides import to_mole_percent, to_weight_percent
from meltdoe.glass.reference_tables import table

MATERIALS = [row["id"] for row in table("raw_materials") if not row["refused"] and row["role"] != "water"]
GLASSES = [row["id"] for row in table("base_glasses")]
SHARE = st.floats(0.01, 100.0)
RECIPES = st.dictionaries(st.sampled_from(MATERIALS + GLASSES), SHARE, min_size=1, max_size=6)
OXIDES = ["SiO2", "Al2O3", "Na2O", "K2O", "CaO", "B2O3", "Fe2O3", "Li2O"]


@given(RECIPES, st.floats(1.0, 1e5))
def test_charge_is_glass_and_gas(parts, mass):
    batch = glass.batch(parts, mass)
    assert sum(batch.grams.values()) == pytest.approx(mass)
    assert batch.glass + batch.gas.grams == pytest.approx(mass)
    assert sum(batch.composition.values()) == pytest.approx(100.0)
    assert min(batch.composition.values()) >= 0.0


@given(RECIPES, st.floats(0.1, 10.0))
def test_only_proportions_matter(parts, factor):
    once = glass.batch(parts, 100.0)
    again = glass.batch({name: factor * share for name, share in reversed(parts.items())}, 100.0)
    assert dict(again.composition) == pytest.approx(dict(once.composition))
    assert again.gas.litres == pytest.approx(once.gas.litres)


@given(RECIPES, st.floats(1.0, 5000.0), st.sampled_from([1.0, 0.5, 0.1, 0.01]))
def test_rounded_weights_add_up_and_stay_within_a_step(parts, mass, step):
    batch = glass.batch(parts, mass)
    weighed = batch.weighed(step)
    assert sum(weighed.values()) == pytest.approx(mass, abs=step / 2 * (1 + 1e-6))
    assert all(abs(weighed[name] - grams) < step * (1 + 1e-6) for name, grams in batch.grams.items())
    assert all(round(grams / step) * step == pytest.approx(grams) for grams in weighed.values())


@given(st.dictionaries(st.sampled_from(OXIDES), SHARE, min_size=1))
def test_moles_and_weights_turn_back_into_each_other(composition):
    back = to_weight_percent(to_mole_percent(composition))
    assert back == pytest.approx({oxide: float(share) for oxide, share in glass.normalise(composition).items()})


@settings(deadline=None)
@given(st.lists(st.tuples(RECIPES, st.just(0.0) | st.floats(0.01, 50.0)), min_size=1, max_size=5), RECIPES)
def test_a_chain_of_remelts_is_one_melt_of_everything_bought(chain, last):
    """Oxides of the last glass are those of one batch of all that had been weighed, gas of earlier melts apart."""
    lots = []
    for i, (parts, share) in enumerate(chain):
        older = {f"lot {i - 1}": share} if i and share else {}
        lots.append(glass.Lot(f"lot {i}", {**parts, **older}))
    book = glass.lot_book(lots)
    recipe = {**last, f"lot {len(chain) - 1}": 10.0}
    bought = book.traced(recipe)
    composition = dict(book.batch(recipe, 1.0).composition)
    assert composition == pytest.approx(dict(glass.batch(bought, 1.0).composition))
    in_glass = book.batch(recipe, sum(recipe.values())).glass
    assert glass.batch(bought, sum(bought.values())).glass == pytest.approx(in_glass)


@given(st.floats(0.0, 30.0), st.floats(900.0, 1350.0), st.floats(1.0, 100.0))
def test_hotter_is_thinner(soda, celsius, more):
    composition = glass.glass_composition({"obsidian": 100.0, "soda_ash": soda})
    seen = glass.viscosity(composition, [celsius, celsius + more]).log10
    assert seen[1] < seen[0]

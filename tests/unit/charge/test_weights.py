"""Weighing out: grams that add up, masses from castings and moulds, portions, and what does not fit."""

from dataclasses import replace

import pytest
from invented_recipe import charge_series, melt, part, recipe, settings, with_recipe

from meltdoe.charge.shelf import shelf
from meltdoe.charge.weights import melt_weights
from meltdoe.series.recipe import Mould
from meltdoe.units import Quantity


def weighed(series, **given):
    return melt_weights(series, series.raw(settings(**given)), shelf(series, [melt(1)]))


def test_a_charge_by_hand():
    """1000 g with 20 % of soda ash; 44.009/105.988 of the soda ash leaves as CO2, 0.5 % of the rock."""
    found = weighed(charge_series())
    assert [(line.material, str(line.weight), str(line.running)) for line in found.lines] == [
        ("quarry rock", "800 g", "800 g"),
        ("soda ash", "200 g", "1000 g"),
    ]
    assert found.loss == pytest.approx(20.0 * 44.009 / 105.988 + 0.8 * 0.5, abs=0.01)
    assert found.glass == pytest.approx(1000.0 * (1.0 - found.loss / 100.0))
    assert found.gas.moles["CO2"] == pytest.approx(200.0 / 105.988, rel=1e-3)
    assert sum(found.composition.values()) == pytest.approx(100.0)
    assert sum(found.mole_percent.values()) == pytest.approx(100.0)


@pytest.mark.parametrize("flux", [10.0, 11.3, 17.77, 26.0])
@pytest.mark.parametrize("balance", [Quantity(1, "g"), Quantity(0.1, "g"), Quantity(5, "g"), Quantity(0.1, "oz")])
def test_the_lines_add_up_to_the_charge_in_steps_of_the_balance(flux, balance):
    parts = (part("flux", "soda ash"), part("2.3", "whiting"), part("0.37", "red iron oxide"))
    found = weighed(charge_series(recipe=recipe(parts=parts, balance=balance)), flux=flux)
    whole = sum(line.weight.value for line in found.lines)
    assert whole == pytest.approx(found.charge.value)
    shown = round(found.charge.value / balance.value) * balance.value
    assert found.lines[-1].running.value == pytest.approx(shown)
    assert found.charge.in_unit("g") == pytest.approx(1000.0, abs=balance.in_unit("g") / 2 + 1e-9)
    for line in found.lines:
        steps = line.weight.value / balance.value
        pinch = abs(round(steps) - steps) > 0.2 * steps
        assert pinch or steps == pytest.approx(round(steps)), "only a pinch has a finer weight"


def test_base_first_then_the_larger_and_the_colourant_last():
    parts = (
        part("0.5", "cobalt oxide"),
        part("2", "whiting"),
        part("flux", "soda ash"),
        part("0.3", "lithium carbonate"),
    )
    found = weighed(charge_series(recipe=recipe(parts=parts)))
    order = ["quarry rock", "soda ash", "whiting", "lithium carbonate", "cobalt oxide"]
    assert [line.material for line in found.lines] == order


def test_a_casting_by_its_mass_with_what_stays_behind():
    series = with_recipe(charge_series(mould=Mould(casting=Quantity(450, "g"))), charge=None, pour_loss=10.0)
    found = weighed(replace(series, moulds_per_melt=2))
    assert found.glass == pytest.approx(450.0 * 2 / 0.9)


def test_a_mould_by_its_volume_takes_the_density_of_the_glass():
    series = with_recipe(charge_series(mould=Mould(volume=Quantity(0.4, "l"))), charge=None)
    found = weighed(series)
    assert 2.35 * 400 < found.glass < 2.55 * 400


def test_no_mass_is_said_to_be_missing():
    with pytest.raises(ValueError, match="neither how much is weighed nor what is cast"):
        weighed(with_recipe(charge_series(), charge=None))


def test_a_small_weight_asks_for_a_finer_balance():
    series = charge_series(recipe=recipe(parts=(part("0.13", "cobalt oxide"),), charge=Quantity(500, "g")))
    assert any("cobalt oxide needs a finer balance than 1 g" in warning for warning in weighed(series).warnings)
    fine = with_recipe(series, balance=Quantity(0.01, "g"))
    assert not weighed(fine).warnings


def test_a_pinch_is_never_told_as_nothing_or_twice_of_it():
    """0.05 and 0.1 wt% of 500 g are 0.25 and 0.5 g, of which a balance of 1 g makes 0 and 1."""
    parts = (part("flux", "soda ash"), part("0.05", "cobalt oxide"), part("0.1", "chrome oxide"))
    found = weighed(charge_series(recipe=recipe(parts=parts, charge=Quantity(500, "g"))), flux=20.0)
    grams = {line.material: line.weight.value for line in found.lines}
    assert grams == {"quarry rock": 399.0, "soda ash": 100.0, "cobalt oxide": 0.25, "chrome oxide": 0.5}
    assert found.charge.value == pytest.approx(sum(grams.values()))
    assert found.charge.value == pytest.approx(500.0, abs=0.5)
    assert all(line.running.value == round(line.running.value) for line in found.lines), "that is all the balance shows"
    assert sum("needs a finer balance" in warning for warning in found.warnings) == 2


def test_portions_follow_from_crucible_and_gas():
    """1000 g at 1.2 g/ml are 833 ml; of 1000 ml half may be filled where soda ash foams."""
    series = with_recipe(charge_series(), crucible=Quantity(1000, "ml"))
    assert weighed(series).portions == 2
    assert weighed(series).fill.share == 0.5
    assert weighed(charge_series()).portions is None
    crowded = with_recipe(series, crucible=Quantity(500, "ml"))
    assert any("fills" in warning and "larger crucible" in warning for warning in weighed(crowded).warnings)


def test_more_old_glass_than_was_recovered_is_told():
    series = charge_series(recipe=recipe(base="", base_by="stone"))
    assert any("500 g were recovered" in warning for warning in weighed(series, stone="old glass").warnings)
    assert not any("recovered" in warning for warning in weighed(series).warnings)

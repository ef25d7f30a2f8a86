"""The shopping list: what the plan takes, room for bad luck, packs, prices, and what is at hand."""

from dataclasses import replace

import pytest
from invented_recipe import charge_series, melt, part, recipe, settings

from meltdoe.charge.shelf import shelf
from meltdoe.charge.shopping import SPILLS, bad_luck, shopping_list
from meltdoe.series import Belief, Budget
from meltdoe.series.recipe import OwnMaterial, Supply
from meltdoe.units import Quantity

ROWS = [{"flux": 10.0}, {"flux": 20.0}, {"flux": 26.0}, {"flux": 20.0}]


def listed(series, rows=ROWS, spare=0, firings=(1, 1, 2, 2)):
    raw = series.raw_table(settings(**row) for row in rows)
    made = shopping_list(series, raw, firings[: len(rows)], shelf(series, [melt(1)]), spare)
    return made, {item.name: item for item in made.items}


def test_the_plan_adds_up_and_spills_come_on_top():
    made, items = listed(charge_series())
    assert items["soda ash"].needed == pytest.approx(760.0)
    assert items["quarry rock"].needed == pytest.approx(3240.0)
    assert items["soda ash"].spare == pytest.approx(SPILLS * 760.0)
    assert items["soda ash"].buy == pytest.approx(760.0 * (1 + SPILLS))
    assert items["soda ash"].cost is None
    assert "no price is given for soda ash" in made.notes
    assert (made.melts, made.firings) == (4, 2)


def test_packs_stock_and_prices():
    _, items = listed(charge_series())
    rock = items["quarry rock"]
    assert (rock.stock, rock.packs, rock.buy, rock.cost) == (1000.0, 1, 5000.0, 6.0)
    plenty = charge_series(
        materials=(replace(charge_series().materials[0], stock=Quantity(20, "kg")), charge_series().materials[1])
    )
    rock = listed(plenty)[1]["quarry rock"]
    assert (rock.packs, rock.buy, rock.cost) == (0, 0.0, 0.0)


def test_a_price_without_a_pack_is_per_kilogram():
    own = (charge_series().materials[0], OwnMaterial("soda ash", price=10.0, stock=Quantity(1, "lb")))
    soda = listed(charge_series(materials=own))[1]["soda ash"]
    assert soda.buy == pytest.approx(760.0 * 1.03 - 453.59237)
    assert soda.cost == pytest.approx(soda.buy / 100.0)


def test_repeats_are_reckoned_with_the_largest_charges():
    soda = listed(charge_series(), spare=2)[1]["soda ash"]
    assert soda.spare == pytest.approx(460.0 + SPILLS * (760.0 + 460.0))
    more = listed(charge_series(), spare=8)[1]["soda ash"]
    assert more.spare == pytest.approx(2 * 760.0 + SPILLS * 3 * 760.0)


def test_bad_luck_is_the_ninety_per_cent_point_of_a_binomial():
    """Eight melts that each fail with chance 0.3: P(at most 3) = 0.806, P(at most 4) = 0.942 (binomial tables)."""
    assert bad_luck(8, 2.4) == 4
    assert bad_luck(8, 0.0) == 0
    assert bad_luck(0, 0.0) == 0
    assert bad_luck(10, 10.0) == 10


def test_beliefs_set_the_contingency():
    sure = replace(charge_series(), beliefs=(Belief({}, "contained", 0.999, 5.0),))
    raw = sure.raw_table(settings(**row) for row in ROWS)
    assert shopping_list(sure, raw, [1, 1, 2, 2], shelf(sure)).spare_melts == 0
    assert shopping_list(charge_series(), raw, [1, 1, 2, 2], shelf(sure)).spare_melts == 2


def test_crucibles_last_several_melts_and_some_are_lost():
    """Four melts at two a crucible need 2; two repeats need a third; of 4 that fail 0.3 of the time 2 may go."""
    pot = Supply("crucible", Quantity(1, ""), lasts=2, lost_with="contained", price=18.0, stock=1)
    item = listed(charge_series(supplies=(pot,)), spare=2)[1]["crucible"]
    assert (item.needed, item.spare, item.buy, item.cost) == (2, 3, 4, 72.0)


def test_sand_goes_by_the_mould_and_fuel_by_the_firing():
    sand = Supply("sand", Quantity(3, "kg"), per="mould", price=12.0, pack=25.0, stock=2.0)
    cones = Supply("cones", Quantity(3, ""), per="firing")
    series = charge_series(supplies=(sand, cones), moulds_per_melt=2)
    items = listed(series)[1]
    assert (items["sand"].needed, items["sand"].packs, items["sand"].cost) == (24.0, 1, 12.0)
    assert items["cones"].needed == 6


def test_remelted_glass_is_not_bought_and_may_run_short():
    series = charge_series(recipe=recipe(base="", base_by="stone"))
    made, items = listed(series, [{"stone": "old glass"}, {}])
    assert (items["old glass"].buy, items["old glass"].cost, items["old glass"].remelted) == (0.0, 0.0, 1)
    assert items["old glass"].short == pytest.approx(300.0)
    assert any("melt 1 gave 500 g, 800 are called for" in note for note in made.notes)


def test_the_budget_is_minded():
    own = (OwnMaterial("soda ash", price=100.0), *charge_series().materials)
    series = charge_series(materials=own, budget=Budget(money=50.0, currency="EUR"))
    assert any("more than the 50 EUR" in note for note in listed(series)[0].notes)
    assert not any("more than" in note for note in listed(charge_series())[0].notes)


def test_supplies_count_without_a_recipe_and_a_finished_plan_needs_nothing():
    series = charge_series(recipe=None, supplies=(Supply("crucible", Quantity(1, "")),))
    made = shopping_list(series, series.raw_table([settings()] * 3), [1, 1, 2], None, 0)
    assert [(item.name, item.buy) for item in made.items] == [("crucible", 3)]
    nothing = shopping_list(series, series.raw_table([]), [], None)
    assert nothing.items == ()
    assert "every planned melt is on record" in nothing.notes[0]


def test_a_colourant_that_only_some_melts_take_is_on_the_list():
    series = charge_series(recipe=recipe(parts=(part("flux", material_by="kind"),)))
    items = listed(series, [{"kind": "potash"}, {"kind": "none"}])[1]
    assert set(items) == {"quarry rock", "potash"}

"""Borax and pearl ash: which form was taken for granted, and how the maker states another."""

import pytest
from invented_recipe import charge_series, part, recipe

from meltdoe.charge.assumed_forms import assumed_forms
from meltdoe.series.recipe import OwnMaterial


def series_with(name, *own):
    return charge_series(recipe=recipe(parts=(part("flux", name),)), materials=(*charge_series().materials, *own))


def test_plain_borax_is_said_to_be_the_decahydrate_with_the_way_out():
    (said,) = assumed_forms(series_with("borax"))
    assert said.startswith('"borax" is taken to be borax (decahydrate), of which 47 % leave as gas')
    assert said.endswith('name = "borax", same_as = "borax pentahydrate" or "borax anhydrous"')


@pytest.mark.parametrize("name", ["borax pentahydrate", "anhydrous borax", "Borax_Decahydrate", "soda ash", "Na2B4O7"])
def test_a_name_that_says_it_leaves_nothing_to_assume(name):
    assert assumed_forms(series_with(name)) == ()


def test_a_block_of_ones_own_settles_it_only_where_it_names_the_form():
    priced = OwnMaterial("borax", price=9.0)
    assert len(assumed_forms(series_with("borax", priced))) == 1
    for settled in (
        OwnMaterial("borax", same_as="borax pentahydrate"),
        OwnMaterial("borax", formula="Na2B4O7.5H2O"),
        OwnMaterial("borax", analysis={"Na2O": 16.3, "B2O3": 36.5, "H2O": 47.2}),
    ):
        assert assumed_forms(series_with("borax", settled)) == ()
    assert len(assumed_forms(series_with("my flux", OwnMaterial("my flux", same_as="borax")))) == 1


def test_only_what_a_charge_holds_is_spoken_of():
    assert assumed_forms(series_with("borax"), ["quarry rock"]) == ()
    assert "hydrated potash" in assumed_forms(series_with("pearl ash"))[0]
    assert assumed_forms(charge_series(recipe=None)) == ()

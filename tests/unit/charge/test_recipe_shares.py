"""Settings to shares: both bases, factors that choose a material, arithmetic, and what the log says was weighed."""

import numpy as np
import pytest
from invented_recipe import charge_series, melt, part, recipe, settings, with_recipe

from meltdoe.charge.earlier_melts import earlier_melts
from meltdoe.charge.recipe_shares import charge_shares, materials_named, shares_of_melts, weighed_grams
from meltdoe.series import MeltSeries


def shares(series, *rows):
    return charge_shares(series, series.raw_table(settings(**row) for row in rows))


def test_per_cent_of_the_total_leaves_the_rest_to_the_base():
    found = shares(charge_series(), {"flux": 20.0}, {"flux": 12.5})
    assert found["soda ash"] == pytest.approx([20.0, 12.5])
    assert found["quarry rock"] == pytest.approx([80.0, 87.5])


def test_parts_added_to_a_hundred_of_the_base():
    """25 parts to 100 of rock are 20 per cent of the total: the commonest muddle of recipes."""
    found = shares(with_recipe(charge_series(), shares_of="base"), {"flux": 25.0})
    assert found["soda ash"] == pytest.approx([20.0])
    assert found["quarry rock"] == pytest.approx([80.0])


def test_a_factor_chooses_the_flux_and_none_adds_nothing():
    series = charge_series(recipe=recipe(parts=(part("flux", material_by="kind"), part("3", "whiting"))))
    found = shares(series, {"kind": "soda ash"}, {"kind": "potash"}, {"kind": "none"})
    assert found["soda ash"] == pytest.approx([20.0, 0.0, 0.0])
    assert found["potash"] == pytest.approx([0.0, 20.0, 0.0])
    assert found["whiting"] == pytest.approx([3.0, 3.0, 3.0])
    assert found["quarry rock"] == pytest.approx([77.0, 77.0, 97.0])
    assert sum(found.values()) == pytest.approx([100.0] * 3)
    assert materials_named(series) == ("quarry rock", "soda ash", "potash", "whiting")


def test_a_factor_chooses_the_rock():
    found = shares(charge_series(recipe=recipe(base="", base_by="stone")), {"stone": "old glass"}, {})
    assert found["old glass"] == pytest.approx([80.0, 0.0])
    assert found["quarry rock"] == pytest.approx([0.0, 80.0])


def test_one_factor_split_over_two_fluxes():
    parts = (part("0.6 * flux", "soda ash"), part("0.4 * flux", "borax_anhydrous"))
    found = shares(charge_series(recipe=recipe(parts=parts)), {"flux": 25.0})
    assert found["soda ash"] == pytest.approx([15.0])
    assert found["borax_anhydrous"] == pytest.approx([10.0])


@pytest.mark.parametrize(
    ("text", "flux", "words"),
    [("flux", 130.0, "nothing for the base"), ("flux - 30", 20.0, "0 or more"), ("1 / (flux - 20)", 20.0, "no number")],
)
def test_shares_that_make_no_charge_are_refused(text, flux, words):
    with pytest.raises(ValueError, match=words):
        shares(charge_series(recipe=recipe(parts=(part(text, "soda ash"),))), {"flux": flux})


def test_a_series_without_a_recipe_has_no_charge():
    with pytest.raises(ValueError, match=r"no \[recipe\]"):
        shares(charge_series(recipe=None), {})


@pytest.mark.parametrize(
    "text",
    [
        "quarry rock 640 g, soda ash 160 g",
        "soda ash 160 g; quarry rock: 0.64 kg",
        "640 g of quarry rock + 160 g soda ash",
        "quarry rock = 640 g, soda ash  160g",
    ],
)
def test_what_was_weighed_is_read_however_it_is_written(text):
    assert weighed_grams(text) == pytest.approx({"quarry rock": 640.0, "soda ash": 160.0})


def test_a_melts_number_is_no_mass():
    assert weighed_grams("melt 3 120 g, soda ash 12,5 g") == pytest.approx({"melt 3": 120.0, "soda ash": 12.5})


@pytest.mark.parametrize(
    "text", ["soda ash", "soda ash 160", "soda ash 160 °C", "160 g", "soda 1 g, Soda 2 g", "x 0 g"]
)
def test_what_nobody_can_weigh_is_refused(text):
    with pytest.raises(ValueError, match=r"mass|twice"):
        weighed_grams(text)


def test_the_weights_on_record_come_before_the_settings():
    series = with_recipe(charge_series(), weighed="weighed")
    found = shares_of_melts(series, [melt(1), melt(2, "quarry rock 300 g, melt 1 100 g, cobalt oxide 1 g", flux=10.0)])
    assert found["soda ash"] == pytest.approx([20.0, 0.0])
    assert found["old glass"] == pytest.approx([0.0, 100 * 100 / 401])  # the block's name for the glass of melt 1
    assert found["cobalt oxide"] == pytest.approx([0.0, 100 / 401])
    assert sum(found.values()) == pytest.approx([100.0, 100.0])


class Row:
    def __init__(self, melt, **circumstances):
        self.melt, self.settings, self.circumstances = melt, settings(), circumstances


def test_rows_of_log_and_plan_become_melts_and_the_log_comes_first():
    series = with_recipe(charge_series(), weighed="weighed")
    melts = earlier_melts(series, [Row(2, weighed="quarry rock 1 kg"), Row(4)], [Row(1), Row(2)])
    assert [(m.melt, m.weighed) for m in melts] == [(2, "quarry rock 1 kg"), (4, ""), (1, "")]
    silent = earlier_melts(charge_series(), [Row(2, weighed="quarry rock 1 kg")])
    assert silent[0].weighed == "", "only the circumstance that the recipe names counts"


def test_many_settings_are_worked_out_as_each_by_itself():
    series = charge_series(recipe=recipe(parts=(part("flux", material_by="kind"),)))
    rows = [{"flux": f, "kind": k} for f in (10.0, 17.0, 26.0) for k in ("soda ash", "potash", "none")]
    together = shares(series, *rows)
    for i, row in enumerate(rows):
        alone = shares(series, row)
        assert {name: values[i] for name, values in together.items()} == pytest.approx(
            {name: values[0] for name, values in alone.items()}
        )
    assert isinstance(series, MeltSeries)
    assert np.all(together["quarry rock"] >= 0.0)

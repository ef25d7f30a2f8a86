"""Glass crushed and melted again: its composition, the flux it carries, and what the analysis is told of it."""

from dataclasses import replace

import numpy as np
import pytest
from invented_recipe import ROCK, charge_series, melt, part, recipe, settings, with_recipe

from meltdoe import glass
from meltdoe.charge.actual_shares import OtherOption, actual_raw, actual_settings, share_factors
from meltdoe.charge.glass_at import glass_at, glass_of_melts
from meltdoe.charge.shelf import own_material, shelf
from meltdoe.glass.materials import Material
from meltdoe.log.melt_log import Entry
from meltdoe.series.recipe import OwnMaterial

BY_STONE = recipe(base="", base_by="stone")


def test_a_melt_of_old_glass_alone_is_that_glass():
    series = charge_series(recipe=BY_STONE)
    melts = [melt(1, flux=20.0), melt(2, flux=0.0, stone="old glass")]
    found = glass_of_melts(series, melts)
    first, second = found.one(0), found.one(1)
    assert second == pytest.approx(first)
    assert found.loss[1] == pytest.approx(0.0, abs=1e-12), "what has been molten gives off nothing more"
    assert found.flux == pytest.approx([20.0, 20.0])


def test_two_generations_against_one_batch_of_everything_bought():
    """100 parts of glass of melt 1 take 100/0.9138 of its charge: the oxides are those of one batch of it all."""
    series = charge_series(recipe=BY_STONE)
    melts = [melt(1, flux=20.0), melt(2, flux=10.0, stone="old glass"), melt(3, "melt 2 600 g, quarry rock 400 g")]
    series = with_recipe(series, weighed="weighed")
    found = glass_of_melts(series, melts)
    own = {"quarry rock": Material.from_analysis("quarry rock", ROCK)}
    one = glass.batch({"quarry rock": 80.0, "soda ash": 20.0}, 100.0, materials=own)
    per_glass = 100.0 / one.glass
    rock, soda = 0.9 * 80.0 * per_glass / 100.0, 0.9 * 20.0 * per_glass / 100.0 + 0.1
    two = glass.batch({"quarry rock": rock, "soda ash": soda}, 1.0, materials=own)
    assert found.one(1) == pytest.approx(dict(two.composition))
    assert found.flux[1] == pytest.approx(100.0 * soda / (rock + soda))
    per_two = 1.0 / two.glass
    three = glass.batch(
        {"quarry rock": 0.6 * per_two * rock / (rock + soda) + 0.4, "soda ash": 0.6 * per_two * soda / (rock + soda)},
        1.0,
        materials=own,
    )
    assert found.one(2) == pytest.approx(dict(three.composition))


def test_the_analysis_is_told_the_flux_that_was_really_there():
    series = charge_series(recipe=BY_STONE)
    melts = [melt(1, flux=20.0), melt(2, flux=5.0, stone="old glass")]
    raw = actual_raw(series, melts)
    found = glass_of_melts(series, melts)
    column = series.factor_names.index("flux")
    assert raw[0, column] == 20.0, "a melt of bought materials is not touched"
    assert raw[1, column] == pytest.approx(found.flux[1])
    assert 23.0 < raw[1, column] < 25.0
    assert np.array_equal(
        np.delete(raw, column, axis=1), np.delete(series.raw_table(m.settings for m in melts), column, 1)
    )


def test_parts_per_hundred_of_rock_are_told_on_their_own_basis():
    series = charge_series(recipe=recipe(base="", base_by="stone", shares_of="base"))
    melts = [melt(1, flux=25.0), melt(2, flux=0.0, stone="old glass")]
    column = series.factor_names.index("flux")
    assert actual_raw(series, melts)[:, column] == pytest.approx([25.0, 25.0])


def test_weights_on_record_change_the_flux_that_is_analysed():
    series = with_recipe(charge_series(), weighed="weighed")
    raw = actual_raw(series, [melt(1, "quarry rock 700 g, soda ash 300 g", flux=20.0), melt(2, flux=12.0)])
    assert raw[:, series.factor_names.index("flux")] == pytest.approx([30.0, 12.0])


BY_KIND = recipe(parts=(part("flux", material_by="kind"),), weighed="weighed")


@pytest.mark.parametrize(
    ("weighed", "kind", "really"),
    [
        ("melt 1 600 g, quarry rock 380 g, potash 20 g", "potash", "soda ash"),
        ("melt 1 600 g, quarry rock 200 g, potash 200 g", "potash", None),
        ("quarry rock 800 g, soda ash 200 g", "potash", "soda ash"),
        ("quarry rock 800 g, soda ash 200 g", "none", "soda ash"),
        ("quarry rock 800 g, potash 120 g, soda ash 80 g", "potash", None),
        ("", "potash", None),
    ],
)
def test_a_choice_that_names_the_lesser_flux_is_found(weighed, kind, really):
    series = charge_series(recipe=BY_KIND)
    rows = [("", "soda ash"), (weighed, kind), ("melt 77 100 g", "potash")]
    recorded = [
        Entry(number, number, settings(kind=said), {}, circumstances={"weighed": weights})
        for number, (weights, said) in enumerate(rows, 1)
    ]
    found = actual_settings(series, recorded)
    assert found.others == ((OtherOption(2, "kind", kind, really),) if really else ())
    assert found.unread == (3,)


def test_a_share_that_cannot_be_told_apart_keeps_what_is_written():
    split = charge_series(recipe=recipe(parts=(part("0.6 * flux", "soda ash"), part("0.4 * flux", "borax"))))
    assert share_factors(split) == {}
    twice = charge_series(recipe=recipe(parts=(part("flux", "soda ash"), part("3", "Na2CO3"))))
    twice = with_recipe(twice, weighed="weighed")
    raw = actual_raw(twice, [melt(1, "quarry rock 700 g, soda ash 300 g", flux=20.0)])
    assert raw[0, twice.factor_names.index("flux")] == 20.0


def test_without_a_recipe_nothing_changes():
    series = charge_series(recipe=None, materials=())
    melts = [melt(1), melt(2, flux=12.0)]
    assert np.array_equal(actual_raw(series, melts), series.raw_table(m.settings for m in melts))


def test_glass_of_a_melt_that_never_was_is_refused_only_where_it_is_called_for():
    series = charge_series(recipe=BY_STONE)
    stocked = shelf(series, [melt(2)])
    assert "old glass" in stocked.unknown
    assert glass_at(series, series.raw(settings()), stocked).flux == pytest.approx([20.0])
    with pytest.raises(ValueError, match="melt 1 is called for, but that melt is neither planned nor on record"):
        glass_at(series, series.raw(settings(stone="old glass")), stocked)


def test_what_is_made_of_unknown_glass_is_unknown():
    series = charge_series(recipe=recipe(base="", base_by="stone"))
    stocked = shelf(series, [melt(1, stone="old glass", weighed="melt 7 100 g")])
    assert set(stocked.unknown) == {"old glass", "melt 7"}


def test_a_ring_of_remelted_glass_is_named():
    series = with_recipe(charge_series(recipe=BY_STONE), weighed="weighed")
    ring = [melt(1, "melt 2 100 g"), melt(2, "melt 1 100 g")]
    with pytest.raises(ValueError, match="cannot go back to itself"):
        shelf(series, ring)


def test_own_materials_say_what_they_are():
    soda = glass.find_material("soda ash")
    assert own_material(OwnMaterial("my soda", formula="Na2CO3")).oxides == soda.oxides
    assert own_material(OwnMaterial("my soda", same_as="soda ash")).id == "soda_ash", "cautions find it by its id"
    damp = own_material(OwnMaterial("damp rock", analysis=ROCK, water=3.0))
    assert damp.loss_on_firing == pytest.approx(0.03)


def test_a_published_analysis_of_the_rock_makes_the_numbers_rougher():
    known = charge_series()
    typical = charge_series(recipe=recipe(base="obsidian"), materials=())
    row = known.raw(settings())
    assert glass_at(known, row).known_analysis
    guessed = glass_at(typical, row)
    assert not guessed.known_analysis
    assert guessed.viscosity().sd[0] == pytest.approx(0.5, abs=0.02)
    assert glass_at(known, row).viscosity().sd[0] < guessed.viscosity().sd[0]
    same = charge_series(recipe=recipe(base="rock"), materials=(OwnMaterial("rock", same_as="obsidian"),))
    assert not glass_at(same, row).known_analysis


def test_a_guessed_analysis_is_doubted_in_every_generation():
    rock = OwnMaterial("quarry rock", same_as="obsidian")
    series = charge_series(
        recipe=recipe(base_by="stone", base="", weighed="weighed"),
        materials=(rock, OwnMaterial("old glass", from_melt=1)),
    )
    melts = [melt(1), melt(2, "old glass 900 g, soda ash 20 g"), melt(3, "melt 2 500 g, silica sand 50 g")]
    stocked = shelf(series, melts)
    for one in melts:
        assert not glass_of_melts(series, [one], stocked).known_analysis
    known = replace(series, materials=(OwnMaterial("quarry rock", analysis=ROCK), series.materials[1]))
    for one in melts:
        assert glass_of_melts(known, [one], shelf(known, melts)).known_analysis


def test_properties_of_many_settings_are_those_of_each():
    series = charge_series()
    raw = series.raw_table([settings(flux=f, peak=p) for f, p in ((10.0, 1100.0), (18.0, 1180.0), (26.0, 1240.0))])
    many = glass_at(series, raw)
    for i, row in enumerate(raw):
        one = glass_at(series, row)
        assert one.viscosity().log10[0] == pytest.approx(many.viscosity().log10[i])
        assert one.pouring().good_from[0] == pytest.approx(many.pouring().good_from[i])
        assert one.expansion().alpha[0] == pytest.approx(many.expansion().alpha[i])
        assert one.density()[0] == pytest.approx(many.density()[i])
    assert np.all(np.diff(many.viscosity(1150.0).log10) < 0.0), "flux makes it more fluid"


def test_the_pour_is_named_or_the_only_temperature():
    series = charge_series()
    assert glass_at(series, series.raw(settings(peak=1170.0))).celsius == pytest.approx([1170.0])
    fixed = with_recipe(series, pours_at=series.kiln.max_temperature)
    assert glass_at(fixed, series.raw(settings())).celsius == pytest.approx([1280.0])
    two = charge_series(factors=(*series.factors, series.factor("peak").__class__("soak", 700, 800, unit="°C")))
    row = two.raw({**settings(), "soak": 750.0})
    assert glass_at(two, row).celsius is None
    with pytest.raises(ValueError, match="does not say"):
        glass_at(two, row).viscosity()
    assert glass_at(with_recipe(two, pours_at="soak"), row).celsius == pytest.approx([750.0])


def test_an_oxide_that_no_model_knows_is_never_dropped_in_silence():
    series = charge_series(recipe=recipe(parts=(part("flux", "soda ash"), part("4", "cobalt oxide"))))
    found = glass_at(series, series.raw(settings()))
    try:
        warned = " ".join(found.viscosity().warnings)
    except ValueError as refusal:
        warned = str(refusal)
    assert "CoO" in warned
    assert np.isfinite(found.density()[0])


def test_what_was_weighed_is_no_nuisance_of_the_fit():
    series = charge_series()
    assert [c.name for c in series.nuisances] == ["weighed"]
    assert with_recipe(series, weighed="weighed").nuisances == ()

"""Cooling of a casting: thickness, furnace and bed of the series."""

from dataclasses import replace

import pytest
from invented_recipe import FLUX, KIND, PEAK, STONE, charge_series, settings, with_recipe

from meltdoe import glass
from meltdoe.charge.cooling_plan import cooling_plan
from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.charge.melt_glass import melt_glass
from meltdoe.charge.shelf import shelf
from meltdoe.charge.weights import melt_weights
from meltdoe.series import Amount, Choice
from meltdoe.series.recipe import Cooling, Mould
from meltdoe.units import Quantity

COMPOSITION = glass.batch({"obsidian": 85.0, "soda_ash": 15.0}, 100.0).composition


def planned(**given):
    return cooling_plan(charge_series(cooling=Cooling(Quantity(25, "mm"), **given)), COMPOSITION, settings())


def test_no_casting_no_schedule():
    assert cooling_plan(charge_series(), COMPOSITION, settings()) is None


def test_the_schedule_is_that_of_the_glass_and_thickness():
    alone = glass.anneal_schedule(COMPOSITION, "slab", 25.0)
    assert planned().schedule == alone
    inches = cooling_plan(charge_series(cooling=Cooling(Quantity(1, "in"))), COMPOSITION, settings())
    assert inches.thickness_mm == pytest.approx(25.4)


DEPTH = Amount("depth", 10, 50, unit="mm")
FORM = Choice("form", ("slab", "cylinder"))


def sized(**given):
    """A series in which factors set the thickness and the shape of the casting."""
    mould = Mould(volume=Quantity(400, "ml"), at_thickness=Quantity(40, "mm"))
    series = charge_series(
        factors=(PEAK, FLUX, KIND, STONE, DEPTH, FORM), cooling=Cooling("depth", "form", **given), mould=mould
    )
    return with_recipe(series, charge=None)


def cast(depth, form="slab"):
    return {**settings(), "depth": depth, "form": form}


def test_a_factor_sets_thickness_and_shape_and_the_schedule_follows():
    thin, thick = (cooling_plan(sized(), COMPOSITION, cast(depth)) for depth in (12.5, 25.0))
    assert thick.schedule == planned().schedule
    assert thin.schedule.steps[1].rate == pytest.approx(4.0 * thick.schedule.steps[1].rate)  # as 1/thickness^2
    assert (thin.thickness_mm, thin.shape) == (12.5, "slab")
    round_one = cooling_plan(sized(), COMPOSITION, cast(25.0, "cylinder"))
    assert round_one.schedule == glass.anneal_schedule(COMPOSITION, "cylinder", 25.0)


def test_the_schedule_of_a_melt_on_record_follows_its_actual_thickness():
    series = sized()
    told = melt_glass(series, EarlierMelt(3, cast(33.0)), shelf(series), on_record=True)
    assert told.cooling.thickness_mm == pytest.approx(33.0)
    for lost, what in (("depth", "thickness"), ("form", "shape")):
        known = {name: value for name, value in cast(33.0).items() if name != lost}
        unknown = melt_glass(series, EarlierMelt(3, known), shelf(series))
        assert unknown.cooling is None
        assert any(f"the {what} of the casting is not known" in warning for warning in unknown.warnings)


def test_a_thicker_casting_takes_more_glass():
    series = sized()
    light, heavy = (melt_weights(series, series.raw(cast(depth)), shelf(series)).glass for depth in (20.0, 40.0))
    assert heavy == pytest.approx(2.0 * light, rel=2e-3)  # weights are whole grams
    same = replace(series, mould=Mould(volume=Quantity(400, "ml")))
    assert melt_weights(same, same.raw(cast(20.0)), shelf(same)).glass == pytest.approx(heavy, rel=2e-3)


def test_a_furnace_cannot_fall_faster_than_it_does():
    free, slow = planned(), planned(furnace_rate=Quantity(50, "°C/h"))
    assert max(step.rate for step in free.schedule.steps) > 50
    assert max(step.rate for step in slow.schedule.steps) == pytest.approx(50.0)
    assert slow.schedule.hours > free.schedule.hours
    for step in slow.schedule.steps[1:]:
        assert step.hours == pytest.approx((step.start - step.end) / step.rate)
    assert planned(furnace_rate=Quantity(90, "°F/h")).schedule.steps[-1].rate == pytest.approx(50.0)


def test_a_mould_doubles_the_thickness():
    assert planned(in_mould=True).schedule.steps[1].rate == pytest.approx(planned().schedule.steps[1].rate / 4.0)


def test_a_bed_is_compared():
    found = planned(bed="vermiculite")
    assert found.bed.allowed == pytest.approx(planned().schedule.steps[1].rate, rel=1e-6)
    assert not found.bed.acceptable
    assert planned().bed is None


def test_a_melts_glass_tells_everything_and_raises_nothing():
    series = charge_series(cooling=Cooling(Quantity(25, "mm")))
    found = melt_glass(series, EarlierMelt(4, settings()), shelf(series), on_record=True)
    assert found.verdict in ("good", "marginal")
    assert [point.id for point in found.points][-2:] == ["annealing", "strain"]
    assert found.cooling.schedule.steps[0].start == pytest.approx(found.points[-2].celsius)
    assert found.good_sd > 30
    assert sum(found.composition.values()) == pytest.approx(100.0)
    spoilt = melt_glass(series, EarlierMelt(4, settings(flux=400.0)), shelf(series))
    assert spoilt.composition == {}
    assert "nothing for the base" in spoilt.warnings[0]


def test_outside_the_models_the_spread_is_wider_and_said():
    """Nearly half of whiting beside the soda lies outside every glass that the models were made from."""
    from invented_recipe import part, recipe

    odd = charge_series(recipe=recipe(parts=(part("45", "whiting"), part("flux", "soda ash"))))
    inside = melt_glass(charge_series(), EarlierMelt(1, settings()), shelf(charge_series()))
    found = melt_glass(odd, EarlierMelt(1, settings()), shelf(odd))
    assert any("outside" in warning for warning in found.warnings)
    assert found.log10_sd > inside.log10_sd

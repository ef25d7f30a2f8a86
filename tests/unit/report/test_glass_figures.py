"""Pictures of the glass: the viscosity of the melts and the schedule of a firing."""

from dataclasses import replace

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from meltdoe.log.melt_log import Entry, Log
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.report.figures.page_svg import standalone_svg
from meltdoe.report.figures.style import drawing
from meltdoe.report.glass_pictures import glass_pictures
from meltdoe.series import Amount, Kiln, MeltSeries, Outcome
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.recipe import Cooling, OwnMaterial, Part, Recipe
from meltdoe.units import Quantity

ROCK = {"SiO2": 74.6, "Al2O3": 13.3, "FeO": 1.5, "MgO": 0.2, "CaO": 0.9, "Na2O": 4.2, "K2O": 4.8, "H2O": 0.5}
SERIES = MeltSeries(
    "Invented",
    (Amount("peak", 1100, 1240, unit="°C", set_per="firing"), Amount("flux", 10, 26, unit="wt%")),
    (Outcome("poured", "pass"),),
    kiln=Kiln(2),
    recipe=Recipe("rock", parts=(Part(parse_expression("flux"), "soda ash"),), charge=Quantity(1, "kg")),
    materials=(OwnMaterial("rock", analysis=ROCK),),
    cooling=Cooling(Quantity(30, "mm")),
)
ROWS = [(1100.0, 12.0), (1100.0, 26.0), (1220.0, 18.0), (1220.0, 20.0)]


def pictures(series=SERIES, rows=ROWS, made=2):
    melts = tuple(
        PlannedMelt(i, 1 + (i - 1) // 2, i, {"peak": peak, "flux": flux}, "trial")
        for i, (peak, flux) in enumerate(rows, 1)
    )
    entries = tuple(Entry(m.melt, m.firing, m.settings, {"poured": True}) for m in melts[:made])
    return glass_pictures(Log(series, entries), Plan(series, melts, "by hand", seed=1))


def test_both_pictures_say_what_they_show():
    viscosity, kiln = pictures()
    assert (viscosity.name, kiln.name) == ("viscosity", "kiln")
    assert "melt 1 with flux 12 % pours well from about" in viscosity.alt
    assert "melt 2 with flux 26 % pours well from about" in viscosity.alt
    assert "standard deviation" in viscosity.caption
    assert "4 melts" in viscosity.caption
    assert kiln.title == "Schedule of firing 2", "the first firing that is still to be made"
    assert "Firing 2 of 2 melts rises to 1220 °C" in kiln.alt
    assert "all castings: soak at" in kiln.alt


def test_castings_too_unlike_get_a_line_each():
    kiln = pictures(made=0)[1]
    assert "casting of melt 1: soak" in kiln.alt
    assert "casting of melt 2: soak" in kiln.alt


@pytest.mark.parametrize("made", [0, 2, 4])
def test_nothing_is_cut_off(made):
    for one in pictures(made=made):
        canvas = FigureCanvasAgg(one.figure)
        with drawing():
            canvas.draw()
            box = one.figure.get_tightbbox(canvas.get_renderer())
        wide, tall = one.figure.get_size_inches()
        assert -0.03 < box.x0 < box.x1 < wide + 0.03, one.name
        assert -0.03 < box.y0 < box.y1 < tall + 0.03, one.name


def test_the_same_melts_give_the_same_bytes():
    assert [standalone_svg(p) for p in pictures()] == [standalone_svg(p) for p in pictures()]


def test_fahrenheit_is_kept():
    peak = replace(SERIES.factors[0], low=2000.0, high=2260.0, unit="°F")
    series = replace(SERIES, factors=(peak, SERIES.factors[1]))
    viscosity, kiln = pictures(series, [(2012.0, 12.0), (2012.0, 26.0)], made=0)
    assert "°F" in viscosity.alt
    assert "rises to 2012 °F" in kiln.alt


def test_a_series_that_says_too_little_has_no_picture():
    assert pictures(replace(SERIES, recipe=None)) == ()
    assert [p.name for p in pictures(replace(SERIES, cooling=None))] == ["viscosity", "kiln"]
    lost = replace(SERIES, materials=(OwnMaterial("rock", from_melt=7),))
    assert [p.name for p in pictures(lost)] in ([], ["kiln"])
    assert glass_pictures(Log(SERIES, ()), None) == ()

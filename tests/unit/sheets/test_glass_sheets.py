"""Sheets of a series with a recipe: firing pages, weights, cooling, cautions for just what a melt uses."""

import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.charge.shelf import shelf
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.series import Amount, Choice, Kiln, MeltSeries, Outcome
from meltdoe.series.belief import Circumstance
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.recipe import Cooling, Mould, OwnMaterial, Part, Recipe, Supply
from meltdoe.sheets.bench_glass import bench_glass
from meltdoe.sheets.firing_sheet import firing_sheet
from meltdoe.sheets.kiln_schedule import cool_together, heating, joint_cooling, temperature_unit
from meltdoe.sheets.melt_sheet import melt_sheets, sheets_page
from meltdoe.sheets.series_cautions import cautions_of, cautions_of_melt, cautions_of_plan
from meltdoe.shipped import shipped_folder
from meltdoe.steps.reading import read_series
from meltdoe.units import Quantity

ROCK = {"SiO2": 74.6, "Al2O3": 13.3, "FeO": 1.5, "MgO": 0.2, "CaO": 0.9, "Na2O": 4.2, "K2O": 4.8, "H2O": 0.5}


def glass_series(**changes):
    given = {
        "title": "Invented block",
        "factors": (
            Amount("peak", 1100, 1240, unit="°C", set_per="firing"),
            Amount("hold", 2, 8, unit="h", set_per="firing"),
            Amount("share", 10, 26, unit="wt%"),
            Choice("kind", ("soda ash", "borax_anhydrous", "chrome oxide", "none")),
        ),
        "outcomes": (Outcome("contained", "pass"),),
        "kiln": Kiln(2, Quantity(1280, "°C")),
        "recipe": Recipe(
            "local rock",
            parts=(Part(parse_expression("share"), material_by="kind"),),
            crucible=Quantity(1.2, "l"),
            pours_at="peak",
            held_for="hold",
        ),
        "materials": (OwnMaterial("local rock", analysis=ROCK),),
        "mould": Mould(volume=Quantity(350, "ml")),
        "cooling": Cooling(Quantity(40, "mm"), bed="vermiculite"),
    }
    return MeltSeries(**{**given, **changes})


def settings(share=20.0, peak=1200.0, hold=4.0, kind="soda ash"):
    return {"peak": peak, "hold": hold, "share": share, "kind": kind}


def planned(series, *rows):
    melts = tuple(PlannedMelt(i, 1 + (i - 1) // 2, i, settings(**row), "trial") for i, row in enumerate(rows, 1))
    return Plan(series, melts, "by hand", seed=1)


def text_of(page):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def ids(cautions):
    return {caution.id for caution in cautions}


def test_a_page_for_each_firing_stands_before_its_melts():
    page = sheets_page(planned(glass_series(), {"share": 18.0}, {"share": 20.0}, {"share": 22.0}))
    assert re.findall(r'<h2 id="(firing|melt)-(\d+)">', page) == [
        ("firing", "1"), ("melt", "1"), ("melt", "2"), ("firing", "2"), ("melt", "3"),
    ]  # fmt: skip


def test_weights_stand_in_their_order_and_add_up():
    (sheet,) = melt_sheets(planned(glass_series(), {}))
    lines = sheet.glass.weights.lines
    assert [line.material for line in lines] == ["local rock", "soda ash"]
    assert sum(line.weight.value for line in lines) == sheet.glass.weights.charge.value
    page = text_of(sheets_page(planned(glass_series(), {})))
    for line in lines:
        assert f"{line.material} {line.weight} {line.running}" in page
    assert "At 1200 °C it pours" in page
    assert "Charge in" in page


def test_the_firing_page_counts_the_hours_from_a_cold_kiln():
    series = glass_series()
    plan = planned(series, {}, {})
    steps = heating(series, plan.melts, 230.0)
    assert [step.what for step in steps] == [
        "heat gently", "heat to the rest", "rest, next portion when quiet", "heat to the peak", "hold", "pour",
    ]  # fmt: skip
    assert steps[0].hours == pytest.approx((600 - 20) / 150)
    assert steps[-2].hours == 4.0
    for before, after in pairwise(steps):
        assert after.start == pytest.approx(before.start + before.hours)
    assert steps[-1].celsius == 1200.0
    assert [s.what for s in heating(series, plan.melts, 20.0)] == ["heat gently", "heat to the peak", "hold", "pour"]


def test_a_series_that_says_no_temperature_has_no_schedule():
    series = glass_series(factors=glass_series().factors[1:], recipe=replace(glass_series().recipe, pours_at=""))
    plan = Plan(series, (PlannedMelt(1, 1, 1, {"hold": 4.0, "share": 20.0, "kind": "soda ash"}, ""),), "by hand")
    assert firing_sheet(series, plan.melts, []) is None
    assert 'id="firing-' not in sheets_page(plan)


def test_castings_alike_are_cooled_together_by_the_slowest():
    series = glass_series()
    plan = planned(series, {"share": 18.0}, {"share": 20.0})
    stocked = shelf(series)
    plans = [bench_glass(series, melt, stocked).glass.cooling for melt in plan.melts]
    assert cool_together(plans)
    steps = joint_cooling(plans, 10.0)
    assert steps[0].start == 10.0
    assert steps[0].celsius == max(p.schedule.steps[0].start for p in plans)
    assert -steps[1].rate == min(p.schedule.steps[1].rate for p in plans)
    assert steps[-1].celsius == 20.0


def test_castings_too_unlike_are_cooled_each_by_itself():
    series = glass_series()
    plan = planned(series, {"share": 10.0}, {"share": 26.0})
    plans = [bench_glass(series, melt, shelf(series)).glass.cooling for melt in plan.melts]
    assert not cool_together(plans)
    assert joint_cooling(plans, 0.0) == ()
    page = text_of(sheets_page(plan))
    assert "too far apart for one annealing" in page
    assert len(re.findall(r"Cool \(the soak may be out by \d+ °C\) soak at \d+ °C \d+\.\d h", page)) == 2


def test_a_cooling_rate_that_the_plan_varies_is_set_against_the_schedule():
    factors = (*glass_series().factors, Amount("cooling", 3, 40, unit="K/h", set_per="firing"))
    series = glass_series(factors=factors)
    plan = planned(series, {})
    melts = tuple(replace(melt, settings={**melt.settings, "cooling": 30.0}) for melt in plan.melts)
    stocked = shelf(series)
    said = firing_sheet(series, melts, [bench_glass(series, melt, stocked) for melt in melts]).notes
    assert any(note.startswith("The plan itself asks for cooling 30 K/h: that is what is tried here") for note in said)
    without = firing_sheet(glass_series(), plan.melts, [bench_glass(glass_series(), m, stocked) for m in plan.melts])
    assert not any("The plan itself asks for" in note for note in without.notes)


def test_what_a_bed_would_do_is_said_for_the_worst_casting_however_they_are_cooled():
    series = glass_series()
    beds = {}
    for shares in ((18.0, 20.0), (10.0, 26.0)):
        plan = planned(series, *({"share": share} for share in shares))
        glasses = [bench_glass(series, melt, shelf(series)) for melt in plan.melts]
        beds[shares] = [one.glass.cooling.bed for one in glasses]
        note = firing_sheet(series, plan.melts, glasses).notes[-1]
        worst = max(beds[shares], key=lambda bed: bed.stress)
        assert note.endswith(f": {worst.sentence}.")
        assert note.startswith(
            "Instead of the kiln: " if shares == (18.0, 20.0) else "Instead of the kiln, worst for melt"
        )
    assert "Instead of the kiln" not in sheets_page(planned(glass_series(cooling=Cooling(Quantity(40, "mm"))), {}))


def test_what_was_weighed_is_written_beside_the_weights_and_nowhere_else():
    notes = (Circumstance("weighed"), Circumstance("humidity", unit="%"))
    weighed = replace(glass_series().recipe, weighed="weighed")
    (sheet,) = melt_sheets(planned(glass_series(recipe=weighed, circumstances=notes), {}))
    assert sheet.circumstances == ("humidity (%)",)
    assert "Really weighed" in sheets_page(planned(glass_series(recipe=weighed, circumstances=notes), {}))


def test_what_matters_at_the_balance_stands_apart_from_what_the_figures_leave_out():
    """A crucible that is too small has to be seen; that a model has no term for chromium has not."""
    small = replace(glass_series().recipe, crucible=Quantity(500, "ml"))
    (sheet,) = melt_sheets(planned(glass_series(recipe=small), {"kind": "chrome oxide", "share": 0.4}))
    assert any("take a larger crucible" in text for text in sheet.glass.warnings)
    assert any("Cr2O3 left out" in text for text in sheet.glass.caveats)
    page = sheets_page(planned(glass_series(recipe=small), {"kind": "chrome oxide", "share": 0.4}))
    (warned,) = re.findall(r'<p class="warn">(The melt alone.*?)</p>', page)
    assert "take a larger crucible" in warned


def test_a_kiln_read_in_fahrenheit_gets_its_sheets_in_fahrenheit():
    series = glass_series(
        factors=(Amount("peak", 2000, 2260, unit="°F", set_per="firing"), *glass_series().factors[1:])
    )
    assert temperature_unit(series) == "°F"
    page = text_of(sheets_page(planned(series, {"peak": 2200.0})))
    assert "heat gently 1112 °F up 270 °F/h" in page
    assert "At 2200 °F it pours" in page


def test_what_cannot_be_worked_out_is_said_on_the_sheet_and_stops_nothing():
    series = glass_series(materials=(OwnMaterial("local rock", from_melt=9),))
    page = text_of(sheets_page(planned(series, {})))
    assert "The weights cannot be worked out: the glass of melt 9 is called for" in page
    assert "contained" in page


def test_a_melt_is_warned_of_what_it_uses_and_of_nothing_else():
    series = glass_series()
    stocked = shelf(series)
    soda = ids(cautions_of_melt(series, settings(kind="soda ash"), stocked))
    borax = ids(cautions_of_melt(series, settings(kind="borax_anhydrous"), stocked))
    chrome = ids(cautions_of_melt(series, settings(kind="chrome oxide"), stocked))
    plain = ids(cautions_of_melt(series, settings(kind="none"), stocked))
    assert "soda_ash_dust" in soda
    assert "borates" not in soda
    assert "borates" in borax
    assert "soda_ash_dust" not in borax
    assert "chromium_iii" in chrome
    assert not {"soda_ash_dust", "borates", "chromium_iii", "boil_over"} & plain
    for found in (soda, borax, chrome, plain):
        assert {
            "respirable_silica",
            "steam_explosion",
            "ir_radiation",
            "crucible_failure",
            "electrical",
            "defer",
        } <= found
    whole = ids(cautions_of_plan(series, [settings(kind="soda ash")], stocked))
    assert soda <= whole
    assert "borates" in whole, "the last page is about the whole series"


def test_what_only_the_title_names_is_on_the_last_page_and_not_on_the_melts():
    series = glass_series(title="Invented block of rock, soda or borax")
    stocked = shelf(series)
    borax = settings(kind="borax_anhydrous")
    assert "soda_ash_dust" not in ids(cautions_of_melt(series, borax, stocked))
    assert "soda_ash_dust" in ids(cautions_of_plan(series, [borax], stocked))


def test_the_schedule_is_drawn_and_castings_that_cool_apart_have_a_line_each():
    series = glass_series()

    def drawing(*shares):
        plan = planned(series, *({"share": share} for share in shares))
        return firing_sheet(
            series, plan.melts, [bench_glass(series, melt, shelf(series)) for melt in plan.melts]
        ).drawing

    together, apart = drawing(18.0, 20.0), drawing(10.0, 26.0)
    assert [curve.name for curve in together.curves] == ["kiln", "castings"]
    assert [curve.name for curve in apart.curves] == ["kiln", "casting of melt 1", "casting of melt 2"]
    assert len({curve.dashes for curve in apart.curves}) == 3
    for curve in apart.curves:
        corners = np.array([[float(number) for number in corner.split(",")] for corner in curve.points.split()])
        assert np.all(np.diff(corners[:, 0]) >= 0.0), "time runs to the right"
        assert np.all((corners[:, 0] >= apart.left) & (corners[:, 0] <= apart.right))
        assert np.all((corners[:, 1] >= apart.top) & (corners[:, 1] <= apart.bottom))
    assert "rises to 1200 °C" in apart.described
    assert apart.hours[0].text == apart.degrees[0].text == "0"
    for tick in (*together.hours, *apart.hours):
        assert not tick.text or tick.at < apart.right - 20.0, "the unit stands there"
    assert sheets_page(planned(series, {}, {})).count("<svg") == 1


def test_words_hidden_behind_a_formula_or_another_name_are_found():
    own = (
        *glass_series().materials,
        OwnMaterial("green stuff", formula="Cr2O3"),
        OwnMaterial("white", same_as="borax"),
    )
    factors = (*glass_series().factors[:3], Choice("kind", ("green stuff", "white")))
    series = glass_series(materials=own, factors=factors)
    assert {"chromium_iii", "borates"} <= ids(cautions_of(series))


def test_the_name_of_a_material_is_heeded_where_its_analysis_is_silent():
    own = (*glass_series().materials, OwnMaterial("unknown cullet", analysis={"SiO2": 72.0, "Na2O": 15.0, "CaO": 13.0}))
    parts = (*glass_series().recipe.parts, Part(parse_expression("5"), "unknown cullet"))
    series = glass_series(materials=own, recipe=replace(glass_series().recipe, parts=parts))
    for found in (cautions_of(series), cautions_of_melt(series, settings(), shelf(series))):
        assert {"lead", "arsenic_antimony_cadmium_selenium"} <= ids(found)
    assert not {"lead", "fluorides"} & ids(cautions_of(glass_series()))


def test_a_bed_and_burnt_out_patterns_and_supplies_are_cautioned_for():
    series = glass_series(supplies=(Supply("styrofoam for patterns", Quantity(1, "")),))
    found = ids(cautions_of(series))
    assert {"vermiculite_insulation", "styrene", "carbon_monoxide"} <= found
    assert "vermiculite_insulation" not in ids(cautions_of(glass_series(cooling=None)))


def test_remelted_glass_has_shards_and_no_quarry_dust():
    factors = (*glass_series().factors[:3], Choice("base", ("local rock", "old glass")))
    series = glass_series(
        title="Invented",
        factors=factors,
        recipe=Recipe(base_by="base", parts=(Part(parse_expression("share"), "soda ash"),), charge=Quantity(900, "g")),
        materials=(*glass_series().materials, OwnMaterial("old glass", from_melt=1)),
        cooling=None,
        mould=Mould(),
    )
    first, second = ({**settings(), "base": base} for base in ("local rock", "old glass"))
    stocked = shelf(series, [EarlierMelt(1, first)])
    old, new = ids(cautions_of_melt(series, second, stocked)), ids(cautions_of_melt(series, first, stocked))
    assert "obsidian_shards" in old
    assert "respirable_silica" in new
    assert "respirable_silica" not in old


def test_a_ring_of_remelted_glass_is_refused():
    series = glass_series(recipe=replace(glass_series().recipe, base="melt 1"), materials=())
    with pytest.raises(ValueError, match="cannot go back to itself"):
        sheets_page(planned(series, {}))


CHEMICALS = {
    "borates", "lithium", "barium", "fluorides", "nickel", "chromium_iii", "chromium_vi", "cobalt", "manganese",
    "copper", "zinc_oxide_fume", "lead", "arsenic_antimony_cadmium_selenium", "nitrate_oxidiser", "carbon_monoxide",
    "styrene", "sulfur_dioxide", "refractory_fibre",
}  # fmt: skip


@pytest.mark.parametrize(
    ("example", "named"),
    [
        ("obsidian-block", set()),
        ("remelted-dish", {"borates"}),
        ("six-old-attempts", set()),
        ("fill-and-surface", {"borates"}),
    ],
)
def test_no_shipped_series_is_warned_of_a_substance_that_it_does_not_use(example, named):
    series = read_series(shipped_folder("examples") / example)
    assert ids(cautions_of(series)) & CHEMICALS == named


def test_a_series_of_other_work_gets_the_standing_note_alone():
    """Of an unrelated series no row but the last is called for; a charge of rock calls for none of the substances."""
    bread = MeltSeries(
        "Sourdough (invented)",
        (
            Amount("oven", 180, 250, unit="°C"),
            Amount("soda", 0, 2, unit="wt%"),
            Choice("tin", ("copper", "iron")),
        ),
        (Outcome("crust", "grade", grades=("whole", "cracked"), good=("whole",)),),
        goal="A loaf that does not crack as it cools, poured into its mould",
    )
    assert ids(cautions_of(bread)) == {"defer"}
    rock = Recipe("local rock", charge=Quantity(900, "g"))
    plain = glass_series(recipe=rock, factors=glass_series().factors[:2], cooling=None, mould=Mould())
    assert not ids(cautions_of(plain)) & (CHEMICALS | {"soda_ash_dust", "boil_over", "vermiculite_insulation"})

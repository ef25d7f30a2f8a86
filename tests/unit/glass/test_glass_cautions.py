"""Every caution is called for by what should call for it, and by nothing else."""

import pytest

from meltdoe import glass
from meltdoe.glass.cautions import STEPS
from meltdoe.glass.materials import Material
from meltdoe.glass.reference_tables import table

ALL = {caution.id for caution in glass.all_cautions()}


def ids(cautions):
    return [caution.id for caution in cautions]


# what calls for each row: a text, a material, a step or a temperature
CALLS = {
    "respirable_silica": [
        {"words": "Obsidian grain size"}, {"materials": ["silica_sand"]}, {"materials": ["pumice"]},
        {"steps": ["shake_out"]},
    ],
    "obsidian_shards": [{"words": "crushed glass"}, {"materials": ["cullet"]}, {"steps": ["handling_castings"]}],
    "soda_ash_dust": [
        {"words": "soda ash in wt%"}, {"materials": ["pearl ash"]}, {"words": "flux: soda or potash"},
        {"materials": ["kelp ash"]}, {"materials": ["Na2SiO3"]},
    ],
    "borates": [{"words": "borax"}, {"materials": ["boric acid"]}, {"materials": ["Na2B4O7.5H2O"]}],
    "lithium": [{"words": "lithium carbonate"}, {"materials": ["spodumene"]}, {"words": "flux: lithium"}],
    "barium": [{"words": "barium carbonate"}, {"materials": ["barium_carbonate"]}],
    "fluorides": [{"words": "cryolite"}, {"materials": ["fluorspar"]}, {"words": "opal glass"}],
    "nickel": [
        {"words": "colourant of the glass: nickel"}, {"materials": ["nickel_oxide"]}, {"materials": ["NiO"]},
        {"materials": ["green powder"]},
    ],
    "chromium_iii": [{"words": "chrome oxide"}, {"materials": ["chromium_oxide"]}],
    "chromium_vi": [{"words": "potassium dichromate"}, {"materials": ["chromium_oxide", "soda_ash"]},
                    {"materials": ["chromium_oxide", "kelp ash"]}],
    "cobalt": [{"words": "cobalt oxide"}, {"materials": ["cobalt_oxide_black"]}],
    "manganese": [{"words": "manganese dioxide"}, {"materials": ["manganese_dioxide"]}],
    "copper": [{"words": "copper carbonate"}, {"materials": ["copper_oxide"]}],
    "zinc_oxide_fume": [{"words": "zinc oxide"}, {"materials": ["zinc_oxide"]}],
    "lead": [{"words": "lead crystal"}, {"materials": ["old stock"]}],
    "arsenic_antimony_cadmium_selenium": [{"words": "unknown cullet"}, {"words": "arsenic"}],
    "nitrate_oxidiser": [{"words": "saltpeter"}, {"materials": ["potassium_nitrate"]}],
    "ir_radiation": [
        {"words": "molten glass"}, {"steps": ["looking_in"]}, {"temperatures": [900.0]}, {"words": "2100 °F"},
    ],
    "burns_splash": [{"words": "ladle"}, {"steps": ["pouring"]}, {"temperatures": [1150.0]}],
    "steam_explosion": [{"words": "glass into plaster"}, {"steps": ["pouring"]}, {"words": "damp sand"}],
    "mould_gas": [{"words": "glass mold"}, {"steps": ["burn_out"]}, {"words": "bentonite"}],
    "carbon_monoxide": [{"words": "gas-fired kiln"}, {"steps": ["burn_out"]}, {"words": "crucible, foam pattern"}],
    "styrene": [{"words": "lost foam"}, {"words": "obsidian over styrofoam"}],
    "sulfur_dioxide": [{"words": "plaster for the kiln"}, {"materials": ["salt cake"]}, {"words": "sodium sulphate"}],
    "boil_over": [{"words": "did the glass foam?"}, {"materials": ["soda_ash"]}, {"materials": ["perlite"]}],
    "crucible_failure": [
        {"words": "crucible"}, {"steps": ["crucible_reuse"]}, {"materials": {"obsidian": 100, "soda_ash": 20}},
        {"materials": {"obsidian": 100, "kelp ash": 20}},
    ],
    "electrical": [{"words": "kiln"}, {"steps": ["kiln_opening"]}],
    "kiln_room": [{"words": "furnace"}, {"steps": ["firing"]}, {"temperatures": [600.0]}],
    "hot_surfaces": [{"words": "annealer"}, {"steps": ["unloading"]}],
    "cooling_fracture": [{"words": "annealing hours"}, {"steps": ["cooling"]}, {"words": "glass that cracked"}],
    "refractory_fibre": [{"words": "ceramic fiber"}, {"steps": ["furnace_repair"]}],
    "vermiculite_insulation": [{"words": "vermiculite"}, {"steps": ["bed_cooling"]}],
    "chemical_durability": [{"words": "a vase of obsidian"}, {"materials": {"obsidian": 100, "soda_ash": 25}}],
    "defer": [{}],
}  # fmt: skip
OWN = {
    name: Material.from_analysis(name, analysis)
    for name, analysis in {
        "old stock": {"SiO2": 60.0, "PbO": 30.0, "K2O": 10.0},
        "kelp ash": {"Na2O": 30.0, "K2O": 20.0, "CaO": 6.0, "MgO": 4.0, "CO2": 40.0},
        "green powder": {"NiO": 63.0, "CO2": 37.0},
        "nickel glass": {"SiO2": 70.0, "Na2O": 15.0, "CaO": 10.0, "NiO": 5.0},
    }.items()
}


@pytest.mark.parametrize(("id", "call"), [(id, call) for id, calls in CALLS.items() for call in calls], ids=str)
def test_every_row_is_called_for(id, call):
    found = {caution.id: caution for caution in glass.cautions_for(**call, own=OWN)}
    assert id in found
    assert found[id].because


def test_no_row_goes_untested_and_every_row_is_complete():
    assert set(CALLS) == ALL
    assert len(ALL) == 34
    for caution in glass.all_cautions():
        assert all((caution.hazard, caution.applies_when, caution.what_to_do, caution.authority, caution.limit_value))
        assert caution.how_obtained


@pytest.mark.parametrize(
    ("name", "not_called_for"),
    [
        ("borax", "soda_ash_dust"), ("sodium_nitrate", "soda_ash_dust"), ("lithium_carbonate", "soda_ash_dust"),
        ("soda feldspar", "soda_ash_dust"), ("cullet", "soda_ash_dust"), ("nickel glass", "nickel"),
        ("soda_ash", "borates"), ("kelp ash", "borates"), ("silica_sand", "crucible_failure"),
        ("borax_anhydrous", "boil_over"), ("borax_anhydrous", "chemical_durability"),
    ],
)  # fmt: skip
def test_what_is_near_a_row_does_not_call_for_it(name, not_called_for):
    assert not_called_for not in ids(glass.cautions_for(materials={"obsidian": 100, name: 40}, own=OWN))


UNRELATED = [
    "Sourdough bread: proof time, baking soda, oven heat. Did the crust crack? 220 °C",
    "Chocolate in moulds: melt temperature 45 °C, pour, cooling time, sugar, oil",
    "Seedlings: share of water, light, lead time, checks for mould",
    "Concrete cubes: share of sand, water, wet curing, crack width",
    "Bicycle ride: saddle height, nickel plated chain, zinc bucket, copper wire",
    "",
]


@pytest.mark.parametrize("text", UNRELATED)
def test_an_unrelated_series_gets_only_the_standing_note(text):
    assert ids(glass.cautions_from_words(text)) == ["defer"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("soda-lime cullet in a nickel crucible", {"obsidian_shards", "crucible_failure"}),
        ("Did the obsidian foam over?", {"respirable_silica", "obsidian_shards", "boil_over"}),
        ("glass and anhydrous borax", {"borates", "crucible_failure"}),
        ("a copper ladle for the glass", {"ir_radiation", "burns_splash", "steam_explosion"}),
        ("silicon carbide furnace, a lithium battery lamp", {"ir_radiation", "kiln_room"}),
        ("gas kiln", {"carbon_monoxide", "kiln_room", "hot_surfaces"}),
        (
            "soda, sand, did it melt?",
            {"respirable_silica", "soda_ash_dust", "steam_explosion", "boil_over",
             "crucible_failure", "chemical_durability"},
        ),
        ("flux: potassium nitrate", {"nitrate_oxidiser", "boil_over", "crucible_failure", "chemical_durability"}),
    ],
)  # fmt: skip
def test_exactly_what_a_text_calls_for(text, expected):
    assert set(ids(glass.cautions_from_words(text))) == expected | {"defer"}


def test_the_note_that_defers_comes_last_and_the_order_is_that_of_the_table():
    order = [row["id"] for row in table("cautions")]
    for text in ("nickel, borax and soda ash in an obsidian glass, kiln, ladle", *UNRELATED):
        found = ids(glass.cautions_from_words(text))
        assert found[-1] == "defer"
        assert found == [id for id in order if id in found]


@pytest.mark.parametrize(
    ("american", "british"),
    [
        ("glass mold", "glass mould"),
        ("ceramic fiber", "ceramic fibre"),
        ("sodium sulfate", "sodium sulphate"),
        ("saltpeter", "saltpetre"),
    ],
)
def test_spelling_makes_no_difference(american, british):
    assert ids(glass.cautions_from_words(american)) == ids(glass.cautions_from_words(british))


def test_words_count_whole_with_underscores_plurals_and_capitals():
    for text in ("SODA_ASH", "soda-ash", "Soda ash", "soda ashes"):
        assert "soda_ash_dust" in ids(glass.cautions_from_words(text))
    for text in ("glass, sandals", "glass, borosilicate", "glass, unleaded", "glass, kilned"):
        assert ids(glass.cautions_from_words(text)) == ["defer"]


def test_a_phrase_does_not_reach_over_two_pieces_of_text():
    assert "soda_ash_dust" not in ids(glass.cautions_for(words=["cold soda", "ash tray"]))


def test_parts_decide_the_flux_thresholds():
    """15 parts per 100 for the crucible, 20 for durability; a share that is not given counts as above."""
    for soda, expected in ((10, set()), (16, {"crucible_failure"}), (21, {"crucible_failure", "chemical_durability"})):
        found = ids(glass.cautions_for(materials={"obsidian": 100, "soda_ash": soda}))
        assert {"crucible_failure", "chemical_durability"} & set(found) == expected
    assert {"crucible_failure", "chemical_durability"} <= set(
        ids(glass.cautions_for(materials=["obsidian", "soda_ash"]))
    )
    assert "crucible_failure" in ids(
        glass.cautions_for(materials={"obsidian": 100, "soda_ash": 8, "borax_anhydrous": 8})
    )


def test_barium_with_borax_is_worse_than_either():
    assert "crucible_failure" not in ids(glass.cautions_for(materials={"obsidian": 100, "barium_carbonate": 5}))
    found = glass.cautions_for(materials={"obsidian": 100, "barium_carbonate": 5, "borax_anhydrous": 2})
    assert "crucible_failure" in ids(found)


def test_temperatures_have_thresholds():
    assert ids(glass.cautions_for(temperatures=[250.0])) == ["defer"]
    assert "ir_radiation" not in ids(glass.cautions_for(temperatures=[600.0]))


def test_unknown_steps_and_materials_are_named():
    with pytest.raises(ValueError, match='did you mean "pouring"'):
        glass.cautions_for(steps=["pourin"])
    with pytest.raises(ValueError, match='did you mean "soda ash"'):
        glass.cautions_for(materials=["soda ach"])


def test_steps_of_the_table_are_known():
    assert {step for row in table("cautions") for step in row["steps"].split(";") if step} <= set(STEPS)

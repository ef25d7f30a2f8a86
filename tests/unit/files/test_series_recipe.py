"""Recipe, materials, supplies, mould and cooling in series.toml: every fault with its line and how to mend it."""

from dataclasses import replace

import pytest

from meltdoe.files.series.series_edit import set_value
from meltdoe.files.series.series_text import series_text
from meltdoe.files.series.series_toml import check_series_text, read_series
from meltdoe.units import Quantity

TEXT = """\
title = "Invented"
[[factor]]
name = "peak"
kind = "amount"
unit = "°C"
low = 1100
high = 1240
[[factor]]
name = "flux"
kind = "amount"
unit = "wt%"
low = 10
high = 26
[[factor]]
name = "hold"
kind = "amount"
unit = "h"
low = 2
high = 8
[[factor]]
name = "colour"
kind = "choice"
options = ["none", "cobalt oxide", "green"]
[[outcome]]
name = "contained"
kind = "pass"
[[circumstance]]
name = "weighed"
[[circumstance]]
name = "humidity"
unit = "%"
[mould]
volume = "12 in3"
[recipe]
base = "quarry rock"
pour_loss = 8
crucible = "0.9 l"
balance = "0.5 g"
pours_at = "peak"
held_for = "hold"
weighed = "weighed"
[[part]]
material = "soda ash"
share = "flux"
[[part]]
material_by = "colour"
share = 0.5
[[material]]
name = "quarry rock"  # from the old face
analysis = { SiO2 = 74.6, Al2O3 = 13.3, Na2O = 4.5, K2O = 4.8, FeO = 2.4, H2O = 0.4 }
price = 6
pack = "11 lb"
[[material]]
name = "green"
formula = "Cr2O3"
[[material]]
name = "old glass"
from_melt = 1
stock = "420 g"
[[supply]]
name = "crucible"
amount = 1
lasts = 2
lost_with = "contained"
price = 18
[[supply]]
name = "sand"
amount = "3 kg"
per = "mould"
pack = "55 lb"
[cooling]
thickness = "1.5 in"
furnace_rate = "150 °F/h"
bed = "ash"
"""


def line_of(text, part):
    return next(i for i, line in enumerate(text.splitlines(), 1) if part in line)


def test_the_whole_of_it_is_read_in_any_unit():
    series, problems = check_series_text(TEXT)
    assert problems == ()
    assert series.recipe.base == "quarry rock"
    assert [(p.material, p.material_by, p.share.text) for p in series.recipe.parts] == [
        ("soda ash", "", "flux"), ("", "colour", "0.5"),
    ]  # fmt: skip
    assert series.mould.volume.in_unit("ml") == pytest.approx(196.644768)
    assert series.recipe.crucible == Quantity(0.9, "l")
    assert series.materials[0].pack.in_unit("kg") == pytest.approx(4.98952)
    assert series.supplies[1].pack == pytest.approx(24.9476)
    assert series.supplies[0].amount == Quantity(1, "")
    assert series.cooling.thickness.in_unit("mm") == pytest.approx(38.1)


def test_it_is_written_and_read_back_the_same():
    series, _ = check_series_text(TEXT)
    assert check_series_text(series_text(series)) == (series, ())


def test_factors_may_set_the_size_and_the_shape_of_the_casting():
    more = """[[factor]]
name = "depth"
kind = "amount"
unit = "in"
low = 0.5
high = 2
[[factor]]
name = "form"
kind = "choice"
options = ["slab", "sphere"]
"""
    text = TEXT.replace('thickness = "1.5 in"', 'thickness = "depth"\nshape = "form"')
    text = text.replace('volume = "12 in3"', 'volume = "12 in3"\nat_thickness = "1 in"')
    series, problems = check_series_text(text.replace("[mould]", more + "[mould]", 1))
    assert problems == ()
    assert (series.cooling.thickness, series.cooling.shape) == ("depth", "form")
    assert series.mould.at_thickness == Quantity(1, "in")
    assert check_series_text(series_text(series)) == (series, ())


def test_a_series_without_any_of_it_is_as_before():
    bare = TEXT[: TEXT.index("[mould]")]
    series, problems = check_series_text(bare)
    assert problems == ()
    assert (series.recipe, series.materials, series.supplies, series.cooling) == (None, (), (), None)
    assert "[recipe]" not in series_text(series)


def test_what_is_switched_off_in_a_new_file_is_valid_when_switched_on():
    series, _ = check_series_text(TEXT[: TEXT.index("[mould]")])
    text = series_text(series, examples=True)
    assert "#[recipe]" in text
    on = "\n".join(
        line[1:] if line.startswith("#") and not line.startswith("# ") else line for line in text.splitlines()
    )
    made, problems = check_series_text(on)
    assert problems == ()
    assert made.recipe is not None
    assert made.materials
    assert made.supplies
    assert made.cooling is not None


FAULTS = [  # what is changed, what it becomes; a part of the faulty line, of what is wrong, of how to mend it
    ('base = "quarry rock"', 'base = "quary rock"', "quary", 'material "quary rock" is not known', "quarry rock"),
    ('material = "soda ash"', 'material = "soda ach"', "soda ach", '"soda ach" is not known', 'write "soda ash"'),
    ('material = "soda ash"', 'material = "fluorspar"', "fluorspar", "is refused", "take another material"),
    ('material = "soda ash"', 'material = "quarry rock"', 'material = "quarry rock"', "the base already", "one share"),
    ('share = "flux"', 'share = "flux + 80"', "[recipe]", "add up to 106.5 per cent", 'shares_of = "base"'),
    ('share = "flux"', 'share = "flx"', "flx", '"flx", which is no factor', 'write "flux"'),
    ('share = "flux"', 'share = "peak"', 'share = "peak"', "is in °C, which is no share", "wt%"),
    ('share = "flux"', 'share = "colour"', 'share = "colour"', "is no amount", 'kind = "amount"'),
    ('share = "flux"', 'share = "flux - 20"', "flux - 20", "falls to -10", "at 0 or more"),
    ('share = "flux"', 'share = "flux +"', "flux +", "is no share", "0.6 * flux"),
    ('share = "flux"', "share = -3", "-3", '"share" is -3', "0 or more"),
    ('share = "flux"\n', "", "[[part]]", '"share" is missing', "share ="),
    ('material_by = "colour"', 'material_by = "color"', '"color"', "which is no factor", 'write "colour"'),
    ('material_by = "colour"', 'material_by = "flux"', 'by = "flux"', "no choice of materials", 'kind = "choice"'),
    ('"cobalt oxide", "green"', '"cobalt oxyde", "green"', "material_by", "cobalt oxyde", 'write "cobalt oxide"'),
    ("FeO = 2.4", "FeO = 12.4", "analysis", "adds up to 110.0 wt%", "near 100"),
    ("Al2O3 = 13.3, ", "", "analysis", "adds up to 86.7 wt%", "also water"),
    ("SiO2 = 74.6", "SiO2 = -74.6", "analysis", '"SiO2" is -74.6', "0 or more"),
    ("FeO = 2.4", "Fe0 = 2.4", "analysis", 'oxide "Fe0" is not known', "FeO"),
    ('formula = "Cr2O3"', 'formula = "Cr2(O3"', "Cr2(O3", "is no chemical formula", "Na2CO3"),
    ('formula = "Cr2O3"', 'same_as = "chrom oxide"', "chrom oxide", "is not known", "chrome oxide"),
    ('formula = "Cr2O3"', 'formula = "Cr2O3"\nsame_as = "chrome oxide"', "same_as", "has both", "keep the one"),
    ('name = "green"', 'name = "quarry Rock"', "quarry Rock", "is given already in line", "rename one"),
    ('name = "green"', 'name = "melt 4"', "melt 4", "the name of a melt", "from_melt 4"),
    ("from_melt = 1", "from_melt = 0", "from_melt", '"from_melt" is 0', "1 or more"),
    ("from_melt = 1", "from_melt = 1\nwater = 2", "water", "remelted glass is dry", "take the line out"),
    ('stock = "420 g"', 'stock = "420 ml"', "420 ml", "is no unit of mass", "1.2 kg"),
    ('stock = "420 g"', 'stock = "-420 g"', "-420 g", '"stock" is -420 g', "write more than"),
    ("price = 6", "price = -6", "price = -6", '"price" is -6', "0 or more"),
    ('volume = "12 in3"\n', "", "[recipe]", "nothing says how much is weighed", "charge ="),
    ('volume = "12 in3"', 'volume = "12 in"', "12 in", "is no unit of volume", "350 ml"),
    ('volume = "12 in3"', 'volume = "12 in3"\ncasting = "400 g"', "casting", 'both "volume" and "casting"', "keep"),
    ("pour_loss = 8", "pour_loss = 99", "pour_loss", '"pour_loss" is 99', "between 0 and 95"),
    ('pours_at = "peak"', 'pours_at = "flux"', "pours_at", "which is no temperature", "unit of temperature"),
    ('held_for = "hold"', 'held_for = "hlod"', "held_for", "neither a factor nor a time", 'write "hold"'),
    ('weighed = "weighed"', 'weighed = "weights"', "weights", "is no circumstance", "[[circumstance]]"),
    ('weighed = "weighed"', 'weighed = "humidity"', 'weighed = "humidity"', "holds no text", "take its unit"),
    ('lost_with = "contained"', 'lost_with = "contaned"', "contaned", "is no outcome", 'write "contained"'),
    ('pack = "55 lb"', "pack = 25", "pack = 25", "does not go with the amount", "in kg"),
    ("amount = 1", "amount = 0", "amount = 0", '"amount" is 0', "more than 0"),
    ("amount = 1", 'amount = "1 h"', "1 h", '"amount" is "1 h"', "3 kg"),
    ('thickness = "1.5 in"', "thickness = 40", "thickness", "where text with a unit belongs", "40 mm"),
    ('thickness = "1.5 in"', 'thickness = "-4 mm"', "thickness", '"thickness" is -4 mm', "more than 0"),
    ('thickness = "1.5 in"', 'thickness = "peak"', "thickness", '"peak", which is no length', "unit of length"),
    ('volume = "12 in3"', 'volume = "12 in3"\nat_thickness = "1 in"', "at_thickness", "no factor sets", "line out"),
    ('bed = "ash"', 'bed = "ashes"', "ashes", "is not one of", 'write "ash"'),
    ('bed = "ash"', 'shape = "slap"', "slap", "is not one of", 'write "slab"'),
    ("pour_loss = 8", "pour_los = 8", "pour_los", 'the key "pour_los" is not known', 'write "pour_loss"'),
    ("[recipe]", "[recpie]", "[recpie]", "is not known", 'write "recipe"'),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "place", "what", "mend"), FAULTS, ids=[f"{old}>{new}" for old, new, *_ in FAULTS]
)
def test_every_fault_is_told_with_its_line_and_how_to_mend_it(old, new, place, what, mend):
    assert old in TEXT
    text = TEXT.replace(old, new, 1)
    series, problems = check_series_text(text)
    assert series is None
    told = [problem for problem in problems if what in problem.what]
    assert told, [str(problem) for problem in problems]
    assert told[0].line == line_of(text, place), told[0]
    assert mend in told[0].mend


def test_several_faults_are_told_together():
    text = (
        TEXT.replace('base = "quarry rock"', 'base = "rok"')
        .replace("FeO = 2.4", "FeO = 22.4")
        .replace("lasts = 2", "lasts = 0")
    )
    assert len(check_series_text(text)[1]) == 3


def test_a_limit_may_keep_shares_below_a_hundred():
    wide = TEXT.replace("high = 26", "high = 99.9")
    assert check_series_text(wide)[0] is None
    kept = wide + '[[limit]]\nkeep = "flux <= 60"\n'
    assert check_series_text(kept)[1] == ()
    parts = wide.replace('base = "quarry rock"', 'base = "quarry rock"\nshares_of = "base"')
    assert check_series_text(parts)[1] == ()


def test_remarks_stay_where_a_value_is_changed(tmp_path):
    (tmp_path / "series.toml").write_text(TEXT, encoding="utf-8")
    series = set_value(tmp_path, ("material", 0, "stock"), "2.5 kg")
    assert series.materials[0].stock == Quantity(2.5, "kg")
    assert "# from the old face" in (tmp_path / "series.toml").read_text(encoding="utf-8")
    assert read_series(tmp_path) == replace(check_series_text(TEXT)[0], materials=series.materials, folder=tmp_path)

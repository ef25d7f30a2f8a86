"""[chemistry] and terms of the glass in series.toml: every fault with its line and how to mend it."""

import pytest

from meltdoe.files.series.series_text import series_text
from meltdoe.files.series.series_toml import check_series_text
from meltdoe.series.terms import parse_term

TEXT = """\
title = "Invented"
[[factor]]
name = "peak"
kind = "amount"
unit = "°C"
low = 1060
high = 1240
[[factor]]
name = "flux"
kind = "amount"
unit = "wt%"
low = 4
high = 26
[[outcome]]
name = "contained"
kind = "pass"
[[outcome]]
name = "poured"
kind = "pass"
after = "contained"
[[outcome]]
name = "seeds"
kind = "grade"
grades = ["few", "many"]
after = "poured"
[recipe]
base = "obsidian"
charge = "900 g"
[[part]]
material = "soda ash"
share = "flux"
[[term]]
use = "viscosity"
outcome = "poured"
[chemistry]
pour = "poured"
boil_over = "contained"
worth = 3
"""


def faulty(*changes):
    text = TEXT
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    series, problems = check_series_text(text)
    assert series is None
    return [(text.split("\n")[p.line - 1], p.what, p.mend) for p in problems]


def test_it_is_read_with_all_that_follows():
    series, problems = check_series_text(TEXT)
    assert problems == ()
    assert (series.chemistry.pour, series.chemistry.worth, series.chemistry.use) == ("poured", 3.0, True)
    assert check_series_text(TEXT + "trust = 0.6\n")[0].chemistry_prior.trust == 0.6
    assert series.chemistry_prior.trust == series.chemistry.trust == 0.1
    assert series.own_terms == {"poured": (parse_term("viscosity"),)}
    assert [one.name for one in series.derived] == ["viscosity"]
    assert {belief.outcome for belief in series.chemistry_prior.beliefs} == {"contained", "poured"}
    assert series.limits[-1].keep.startswith("viscosity at the pour")
    assert check_series_text(series_text(series)) == (series, ())


def test_one_key_switches_it_off():
    off, problems = check_series_text(TEXT + "use = false\n")
    assert problems == ()
    assert (off.chemistry_prior, off.limits) == (None, ())
    assert [one.name for one in off.derived] == ["viscosity"]
    assert check_series_text(series_text(off)) == (off, ())


FAULTS = [  # changes; a part of the faulty line, of what is wrong, of how to mend it
    ([('pour = "poured"', 'pour = "pourd"')], "pourd", '"pourd" is no outcome', 'write "poured"'),
    ([('pour = "poured"', 'pour = "seeds"')], "seeds", "does not say what is good", "good ="),
    ([("worth = 3", "worth = 30")], "worth", '"worth" is 30', "between 0 and 10"),
    ([("worth = 3", "trust = 1")], "trust", '"trust" is 1', "between 0 and 1, such as 0.1"),
    ([("worth = 3", "use = 1")], "use = 1", '"use" is', "true or false"),
    ([("worth = 3", "stiffest = 0.3")], "stiffest", "is hopeless", "raise stiffest"),
    ([("worth = 3", "stiff = 3")], "stiff = 3", "not known", "stiffest"),
    ([('boil_over = "contained"\n', ""), ('pour = "poured"\n', "")], "[chemistry]", "names no outcome", 'pour = "pou'),
    ([('use = "viscosity"\noutcome = "poured"', 'use = "viscosity"')], "viscosity", "for which outcome", "outcome ="),
    ([('outcome = "poured"', 'outcome = "pouring"')], "pouring", "is no outcome", 'write "poured"'),
    ([('use = "viscosity"', 'use = "viscosity * flux"')], "viscosity *", "stands alone", 'write "viscosity"'),
    ([('use = "viscosity"', 'use = "viscosty"')], "viscosty", "is no factor", 'write "viscosity"'),
    ([('name = "flux"', 'name = "gas"'), ('share = "flux"', 'share = "gas"')], '"gas"', "what the recipe", "rename it"),
    ([('share = "flux"', 'share = "20"'), ('use = "viscosity"', 'use = "gas"')], '"gas"', "no factor", "take the term"),
    ([('share = "flux"', 'share = "20"')], "boil_over", "no factor of a [recipe]", "use = false"),
    ([('unit = "°C"\n', ""), ('use = "viscosity"', 'use = "flux"')], "pour", "at which temperature", "use = false"),
]


@pytest.mark.parametrize(("changes", "line", "what", "mend"), FAULTS)
def test_every_fault_is_told_where_it_stands(changes, line, what, mend):
    found = faulty(*changes)
    assert any(line in at and what in said and mend in how for at, said, how in found), found


def test_without_a_recipe_neither_block_nor_term_holds():
    start, end = TEXT.index("[recipe]"), TEXT.index("[[term]]")
    found = faulty((TEXT[start:end], ""))
    assert [what for _, what, _ in found] == [
        'term 1: "viscosity" needs a [recipe] to be worked out from',
        "[chemistry]: there is no [recipe] that the glass could be worked out from",
    ]

"""The panel where the glass takes part: a quantity in place of its factors, and the ceiling among the limits."""

import json

import numpy as np
from test_what_if_panel import TURN, bare_page, of_library, places

from meltdoe.charge.chemistry_prior import with_chemistry
from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, Choice, MeltSeries, Outcome
from meltdoe.series.chemistry import Chemistry
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.recipe import Part, Recipe
from meltdoe.series.terms import parse_term


def glass_chain():
    """Soda ash or potash, chosen by a factor; viscosity stands in the model of the pour."""
    factors = (
        Amount("peak", 1060, 1240, unit="°C", step=20), Amount("flux", 4, 26, unit="wt%", step=1),
        Choice("kind", ("soda ash", "potassium carbonate")),
    )  # fmt: skip
    plain = MeltSeries(
        "invented glass", factors, (Outcome("poured", "pass"),),
        own_terms={"poured": (parse_term("viscosity"), parse_term("kind"))},
        recipe=Recipe("obsidian", parts=(Part(parse_expression("flux"), material_by="kind"),)),
        chemistry=Chemistry("poured", stiffest=2.5),
    )  # fmt: skip
    series = with_chemistry(plain)
    rng, entries = np.random.default_rng(3), []
    for i in range(10):
        raw = [20.0 * rng.integers(53, 63), float(rng.integers(4, 27)), float(i % 2)]
        entries.append(Entry(i + 1, i + 1, series.settings(raw), {"poured": bool(raw[1] > rng.integers(8, 20))}))
    return fit_chain(series, Log(series, tuple(entries)), effort="draft")


def test_the_page_reckons_with_the_glass_as_the_library_does(in_browser):
    chain = glass_chain()
    picked, raw = places(chain, 200)
    page = bare_page(chain)
    script = f"{TURN} return {json.dumps(picked)}.map((settings) => {{ turn(settings); return rows(); }});"
    answer = in_browser(page, script)
    assert answer["seen"] == []
    allowed = chain.series.allowed(raw)
    assert 60 <= allowed.sum() < 200
    for row, keeps, there in zip(answer["found"], allowed, of_library(chain, raw, 1), strict=True):
        if keeps:
            np.testing.assert_allclose(row, there, atol=2e-4)
        else:
            assert row == []

"""Chemistry in the fit: terms, beliefs, shares as they really were; switched off it leaves no trace. All invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from meltdoe.charge.chemistry_prior import with_chemistry
from meltdoe.fit.checks.belief_check import belief_check
from meltdoe.fit.stages.phrases import percent
from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.fit.stages.stage_data import stage_data
from meltdoe.log.melt_log import Entry, Log
from meltdoe.report.belief_sentences import chemistry_conclusion, chemistry_sentences
from meltdoe.report.what_if import what_if
from meltdoe.series import Amount, Choice, Circumstance, MeltSeries, Outcome
from meltdoe.series.chemistry import Chemistry
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.recipe import OwnMaterial, Part, Recipe
from meltdoe.series.terms import parse_term

ROCK = {"SiO2": 75.0, "Al2O3": 13.3, "FeO": 1.5, "CaO": 0.9, "Na2O": 4.2, "K2O": 4.8, "H2O": 0.3}
FACTORS = (
    Amount("peak", 1080, 1240, unit="°C"),
    Amount("flux", 8, 24, unit="wt%"),
    Choice("packing", ("tight", "edge")),
)
TERM = {"poured": (parse_term("viscosity"), parse_term("packing"))}


def series(**changes: object) -> MeltSeries:
    plain = MeltSeries(
        "invented",
        FACTORS,
        (Outcome("poured", "pass"),),
        recipe=Recipe("quarry rock", parts=(Part(parse_expression("flux"), "soda ash"),), weighed="weighed"),
        materials=(OwnMaterial("quarry rock", analysis=ROCK), OwnMaterial("old glass", from_melt=1)),
        circumstances=(Circumstance("weighed"),),
        seed=5,
    )
    return with_chemistry(replace(plain, **changes))  # type: ignore[arg-type]


def melted(of: MeltSeries, turned: bool = False) -> Log:
    """Eight melts over the corners of peak and flux: stiff ones stay in the crucible, or fluid ones where turned."""
    entries = []
    for i in range(8):
        peak, flux = (1100.0, 1220.0)[i % 2], (10.0, 22.0)[i // 2 % 2]
        good = (peak + 12 * flux > 1350.0) != turned
        settings = {"peak": peak, "flux": flux, "packing": ("tight", "edge")[i // 4]}
        entries.append(Entry(i + 1, i + 1, settings, {"poured": good}))
    return Log(of, tuple(entries))


def drawn(chain: ChainFit) -> bytes:
    return chain.success_draws(chain.log.raw).tobytes()


def test_switched_off_the_fit_is_byte_for_byte_that_of_a_series_without_it() -> None:
    plain, off = series(), series(chemistry=Chemistry("poured", use=False))
    on = series(chemistry=Chemistry("poured"))
    fits = [fit_chain(one, melted(one), effort="draft") for one in (plain, off, on)]
    assert drawn(fits[0]) == drawn(fits[1]) != drawn(fits[2])
    silent = fit_chain(on, melted(on), effort="draft", use_beliefs=False)
    assert drawn(silent) == drawn(fits[0])


def test_before_any_melt_the_chances_follow_the_glass() -> None:
    on = series(chemistry=Chemistry("poured", worth=8.0, trust=0.9))
    corners = np.array([[1080.0, 8.0, 0.0], [1240.0, 24.0, 0.0]])
    stiff, fluid = fit_chain(on, Log(on), effort="draft").chance(corners).mean
    plain = fit_chain(series(), Log(series()), effort="draft").chance(corners).mean
    assert stiff < plain[0] - 0.05
    assert fluid > plain[1] + 0.08


def test_viscosity_stands_in_place_of_peak_and_flux() -> None:
    own = series(own_terms=TERM)
    chain = fit_chain(own, melted(own), effort="draft")
    stage = chain.stage("poured")
    assert stage.terms == TERM["poured"]
    effect = stage.effects[0]
    assert (effect.label, effect.chance_from > effect.chance_to) == ("viscosity", True)  # type: ignore[operator]
    assert effect.sentence.startswith("Viscosity 10^4.")
    X = stage.model_matrix(np.array([[1240.0, 24.0, 0.0], [1080.0, 8.0, 0.0]]))
    assert X[:, 1] == pytest.approx([-1.0, 1.0])
    assert chain.best().chance > 0.7
    panel = what_if(chain, chain.best()).data
    assert panel["stages"][0]["terms"] == [[[len(FACTORS), 1]], [[2, 1]]]
    assert panel["quantities"][0]["tree"][1] == ["peak", "flux"]


def test_how_far_melts_and_chemistry_agree() -> None:
    on = series(chemistry=Chemistry("poured", worth=2.0))
    for turned in (False, True):
        log = melted(on, turned)
        chain = fit_chain(on, log, effort="draft")
        check = belief_check(chain, whose="chemistry")
        assert check is not None
        against = sum(one.conflict for one in check.beliefs)
        assert (against > 0) is turned
        said = chemistry_sentences(on, check)
        assert said[0].startswith("Poured: chemistry counts as 2 melts where it is right; that had a chance of 10 % ")
        assert (check.right["poured"] < 0.1) is turned
        assert f"and has {percent(check.right['poured'])} now." in said[0]
        assert (" differ most at " in said[0]) is turned
        assert chemistry_conclusion(on, check) in said
        plain = fit_chain(series(), replace(log, series=series()))
        assert check.best_without.chance == pytest.approx(plain.best().chance, abs=0.1)
    assert belief_check(chain) is None
    assert belief_check(fit_chain(series(), Log(series()), effort="draft"), whose="chemistry") is None


def test_remelted_glass_and_weights_count_as_they_really_were() -> None:
    plain = series()
    base = {"peak": 1200.0, "flux": 20.0, "packing": "tight"}
    seen = {"poured": True}
    entries = (
        Entry(1, 1, base, seen),
        Entry(2, 2, base, seen, circumstances={"weighed": "quarry rock 300 g, old glass 500 g, soda ash 200 g"}),
        Entry(3, 3, base, seen, circumstances={"weighed": "quarry rock 750 g, soda ash 250 g"}),
        Entry(4, 4, base, seen, circumstances={"weighed": "a bucket of it"}),
        Entry(5, 5, {**base, "flux": 12.0}, seen),
    )
    log = Log(plain, entries)
    flux = log.raw[:, 1]
    assert flux[[0, 3, 4]].tolist() == [20.0, 20.0, 12.0]
    assert flux[1] > 29.0
    assert flux[2] == pytest.approx(25.0)
    assert (log.actual.changed, log.actual.unread) == ((2, 3), (4,))
    data = stage_data(plain, log, plain.outcomes[0])
    assert sorted(data.raw[:, 1]) == pytest.approx(sorted(flux))
    assert data.notes[0].startswith("The shares of melts 2 and 3 count as they really were")
    assert data.notes[1].startswith("The shares of melt 4 count as written")


def test_a_choice_that_names_the_lesser_flux_is_said_with_the_fit() -> None:
    kind = Choice("kind", ("soda ash", "potash"))
    plain = series()
    recipe = replace(plain.recipe, parts=(Part(parse_expression("flux"), material_by="kind"),))
    plain = replace(plain, factors=(*plain.factors, kind), recipe=recipe)
    base = {"peak": 1200.0, "flux": 20.0, "packing": "tight", "kind": "potash"}
    weights = {"weighed": "quarry rock 800 g, soda ash 150 g, potash 50 g"}
    log = Log(plain, (Entry(1, 1, base, {"poured": True}), Entry(2, 2, base, {"poured": True}, circumstances=weights)))
    assert any(
        note.startswith("Melt 2 counts as kind potash, as written, though most of it was soda ash")
        for note in stage_data(plain, log, plain.outcomes[0]).notes
    )


def test_without_a_recipe_settings_are_taken_as_they_are_written() -> None:
    plain = replace(series(), recipe=None, materials=())
    log = melted(plain)
    assert np.array_equal(log.raw, plain.raw_table(entry.settings for entry in log.entries))

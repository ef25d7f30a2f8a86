"""Chemistry before the first melt: quantities of the glass, chances, their worth, and the ceiling. All invented."""

import pickle
from dataclasses import replace

import numpy as np
import pytest
from invented_recipe import charge_series, part, with_recipe

from meltdoe.charge.chemistry_prior import ChemistryFault, chance_of_pour, with_chemistry
from meltdoe.charge.derived_quantities import NoQuantity, Property, derived
from meltdoe.charge.glass_at import glass_at
from meltdoe.series import Amount, Choice
from meltdoe.series.chemistry import Chemistry
from meltdoe.series.terms import parse_term

PEAK = Amount("peak", 1060, 1240, unit="°C", set_per="firing")
FLUX = Amount("flux", 4, 26, unit="wt%")
KIND = Choice("kind", ("soda ash", "potash"))


def series(**changes):
    return charge_series(**{"factors": (PEAK, FLUX, KIND), **changes})


def columns(of, raw):
    return {name: raw[:, i] for i, name in enumerate(of.factor_names)}


def test_a_quantity_is_that_of_the_glass_and_is_coded_between_its_ends():
    plain = series()
    one = derived(plain, "viscosity")
    raw = np.array([[1060.0, 4.0, 0.0], [1240.0, 26.0, 0.0], [1150.0, 15.0, 1.0]])
    assert one.calculate(columns(plain, raw)) == pytest.approx(glass_at(plain, raw).viscosity().log10)
    assert one.coded(columns(plain, raw)) == pytest.approx([1.0, -1.0, 0.0], abs=0.3)
    assert one.coded(columns(plain, raw))[:2] == pytest.approx([1.0, -1.0])
    assert (one.least, one.most) == ({"peak": 1240.0, "flux": 26.0}, {"peak": 1060.0, "flux": 4.0})
    assert one.factors == ("peak", "flux")
    assert one.calculate({"peak": np.zeros(0)}).shape == (0,)


def test_a_flux_that_a_factor_chooses_acts_on_the_quantity():
    by_kind = with_recipe(series(), parts=(part("flux", material_by="kind"),))
    one = derived(by_kind, "viscosity")
    assert one.factors == ("peak", "flux", "kind")
    soda, potash = one.calculate({"flux": np.full(2, 20.0), "kind": np.array([0.0, 1.0])})
    assert potash > soda


@pytest.mark.parametrize("what", ["viscosity", "gas", "expansion"])
def test_the_grid_is_the_quantity_to_a_fraction_of_its_error(what):
    one = derived(with_recipe(series(), parts=(part("flux", material_by="kind"),)), what)
    _, names, axes, values = one.grid
    table = np.array(values).reshape([len(axis) for axis in axes])
    centre = np.array([[np.mean(axis[:2]) for axis in axes]])
    centre[0, names.index("kind")] = 1.0
    corner = table[tuple(1 if name == "kind" else slice(0, 2) for name in names)]
    exact = one.calculate({name: centre[:, i] for i, name in enumerate(names)})[0]
    assert corner.mean() == pytest.approx(exact, abs=0.05 if what == "viscosity" else 0.02 * exact)


def test_the_curve_of_the_pour_stands_where_the_trade_puts_its_limits():
    known = np.zeros(3)
    assert chance_of_pour(np.array([2.5, 3.25, 4.0]), known) == pytest.approx([0.95, 0.5, 0.05], abs=0.001)
    assert chance_of_pour(np.array([2.5]), np.array([0.35]))[0] < 0.95


def test_beliefs_share_out_the_worth_and_follow_the_glass():
    told = with_chemistry(series(chemistry=Chemistry("poured", "contained", worth=3.0))).chemistry_prior.beliefs
    pour = {tuple(b.at.values()): b.chance for b in told if b.outcome == "poured"}
    assert pour[1060.0, 4.0] < pour[1240.0, 4.0] < pour[1240.0, 26.0]
    assert pour[1060.0, 4.0] < pour[1060.0, 26.0]
    assert all(0.05 <= chance <= 0.95 for chance in pour.values())
    assert sum(b.worth for b in told if b.outcome == "contained") == pytest.approx(1.5)
    assert sum(b.worth for b in told if b.outcome == "poured") <= 3.0 + 1e-9
    gas = [b.chance for b in sorted(told, key=lambda b: b.at["flux"]) if b.outcome == "contained"]
    assert gas == sorted(gas, reverse=True)


def test_a_glass_that_nobody_analysed_counts_for_less_and_says_so():
    known = with_chemistry(series(chemistry=Chemistry("poured"))).chemistry_prior
    guessed = series(chemistry=Chemistry("poured"), materials=(), recipe=None)
    guessed = replace(guessed, recipe=replace(series().recipe, base="obsidian"))
    typical = with_chemistry(guessed).chemistry_prior

    def worth(prior):
        return sum(belief.worth for belief in prior.beliefs)

    assert worth(typical) < 0.6 * worth(known)
    assert any("stands in" in note for note in typical.notes)
    assert any("counts for" in note for note in typical.notes)


def test_the_ceiling_keeps_hopeless_settings_out_and_is_absent_where_it_does_not_bite():
    low = series(chemistry=Chemistry("poured"))
    held = with_chemistry(low)
    raw = np.array([[1060.0, 4.0, 0.0], [1240.0, 20.0, 1.0]])
    assert held.allowed(raw).tolist() == [False, True]
    assert held.broken_limits(held.settings(raw[0]))[0].keep == "viscosity at the pour <= 10^4 Pa s"
    sure = glass_at(low, raw).viscosity()
    assert (sure.log10 - 2 * sure.sd)[0] > 4.0
    assert with_chemistry(replace(low, chemistry=Chemistry("poured", stiffest=9.0))).limits == low.limits
    assert pickle.loads(pickle.dumps(held)) == held


STONE = Choice("stone", ("old glass", "quarry rock"))


def test_chemistry_is_silent_about_glass_that_only_the_log_can_know():
    remelting = series(factors=(PEAK, FLUX, STONE), chemistry=Chemistry("poured", "contained"))
    told = with_chemistry(with_recipe(remelting, base="", base_by="stone"))
    plain = with_chemistry(series(factors=(PEAK, FLUX), chemistry=remelting.chemistry))
    assert {belief.at["stone"] for belief in told.chemistry_prior.beliefs} == {"quarry rock"}
    without = [
        replace(belief, at={k: v for k, v in belief.at.items() if k != "stone"})
        for belief in told.chemistry_prior.beliefs
    ]
    assert without == list(plain.chemistry_prior.beliefs), "about the rock it says what it says without the old glass"
    assert "Chemistry says nothing about melts with old glass" in told.chemistry_prior.notes[0]
    stiff = np.array([[1060.0, 4.0, 0.0], [1060.0, 4.0, 1.0]])
    assert told.allowed(stiff).tolist() == [True, False], "hopeless is only what is known to be"
    assert pickle.loads(pickle.dumps(told)) == told
    with pytest.raises(ChemistryFault, match="glass of an earlier melt"):
        with_chemistry(replace(told, chemistry=None, own_terms={"poured": (parse_term("viscosity"),)}))
    with pytest.raises(ChemistryFault, match="melt 1 is called for"):
        with_chemistry(with_recipe(remelting, base="old glass"))


def test_switched_off_nothing_is_added():
    off = series(chemistry=Chemistry("poured", "contained", use=False))
    made = with_chemistry(off)
    assert (made.limits, made.chemistry_prior, made.derived) == (off.limits, None, ())


@pytest.mark.parametrize(
    ("changes", "quantity", "why"),
    [
        ({"chemistry": Chemistry("poured", stiffest=0.5)}, "ceiling", "hopeless"),
        ({"chemistry": Chemistry("poured"), "recipe": None}, "viscosity", "recipe"),
        ({"own_terms": {"poured": (parse_term("gas"),)}, "recipe": None}, "gas", "recipe"),
    ],
)
def test_what_cannot_be_worked_out_is_said(changes, quantity, why):
    with pytest.raises(ChemistryFault, match=why) as told:
        with_chemistry(series(**changes))
    assert told.value.quantity == quantity


def test_a_quantity_that_no_factor_moves_is_refused():
    fixed = with_recipe(series(), parts=(part("20", "soda ash"),))
    with pytest.raises(NoQuantity, match="no factor"):
        derived(fixed, "expansion")


def test_an_odd_melt_far_outside_takes_the_nearest_end():
    plain = series()
    far = Property(plain, "viscosity")({"flux": np.array([130.0, 26.0]), "peak": np.full(2, 1200.0)})
    assert far[0] == pytest.approx(far[1])

"""Factors that a plan leaves alone: they stay as they are, and everything else sees them there."""

from dataclasses import replace

import numpy as np
import pytest
from planning_series import BOILS_OVER, COOLING, FLUX, HOLD, PACKING, PEAK, limit, plain, series

from meltdoe.errors import WrongUsage
from meltdoe.files.series.series_limits import gone_limits
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.held_factors import Held, held_back, held_settings
from meltdoe.plans.merits.assessment import assess
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series import Amount, Belief, Budget, Choice, Kiln, Limit, Ordered
from meltdoe.series.chemistry import Ceiling
from meltdoe.series.terms import parse_term


def test_a_factor_held_stays_and_the_plan_is_one_of_the_others():
    plan = make_plan(series(), "fraction", 8, hold=["hold", "packing = pressed"])
    assert {melt.settings["packing"] for melt in plan.melts} == {"pressed"}
    assert len({melt.settings["hold"] for melt in plan.melts}) == 1
    assert list(plan.melts[0].settings) == ["flux", "peak", "hold", "packing", "cooling"]
    assert plan.design == "full"
    assert plan.reason.endswith(f"left as it is: hold {HOLD.show(plan.melts[0].settings['hold'])}, packing pressed")
    assert series().allowed(plan.raw).all()


def test_what_is_held_is_not_judged_and_that_is_said():
    judged = assess(make_plan(plain(3), "full", hold=["x3 = 4"]))
    assert [str(effect.term) for effect in judged.effects] == ["x1", "x2"]
    assert judged.still == ("x3",)
    assert "The same in every melt, so that nothing is learnt of it: x3 4." in judged.sentences()


def test_limits_see_a_held_factor_at_its_setting():
    four = series(factors=(FLUX, PEAK, HOLD, COOLING), limits=(BOILS_OVER,))
    held = Held(four, {"peak": 1250.0})
    assert held.series.factor_names == ("flux", "hold", "cooling")
    # 1250 °C leave at most 35 wt%
    keeps = held.series.allowed(np.array([[35.0, 60.0, 30.0], [36.0, 60.0, 30.0]]))
    assert keeps.tolist() == [True, False]
    assert held.series.limits[0].keep == BOILS_OVER.keep
    assert Held(four, {"cooling": 30.0}).series.limits == four.limits


def test_terms_and_beliefs_of_what_is_held_are_left_out():
    asked = series(terms=(parse_term("flux"), parse_term("flux * peak"), parse_term("cooling")))
    held = Held(asked, {"peak": 1100.0}).series
    assert [str(term) for term in held.terms] == ["flux", "cooling"]
    assert held.beliefs[0].at == {"flux": 20}


def test_the_middle_is_taken_or_the_nearest_setting_that_limits_leave():
    assert held_settings(plain(2), ["x1"]) == {"x1": 5.0}
    tight = series(limits=(limit("peak >= 1200"),))
    assert held_settings(tight, ["peak"]) == {"peak": 1200.0}
    assert held_settings(series(), ["packing"]) == {"packing": "loose"}
    three = series(factors=(FLUX, Ordered("grit", ("coarse", "middle", "fine"))), limits=(), beliefs=())
    assert held_settings(three, ["grit = fine"]) == {"grit": "fine"}


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        (["flow"], '"flow" is no factor'),
        (["flux = 12"], "write a number from 15 to 40 wt%"),
        (["packing = tight"], 'no option "tight"; hold it at one of loose, pressed'),
        (["flux", "peak", "hold", "packing", "cooling"], "nothing is left to vary"),
    ],
)
def test_what_cannot_be_held_is_refused(texts, says):
    with pytest.raises(WrongUsage, match=says):
        held_settings(series(), texts)


def test_a_setting_that_leaves_nothing_within_the_limits_is_refused():
    with pytest.raises(PlanImpossible, match="no setting keeps the limits"):
        held_settings(series(limits=(limit("flux + 0.1 * peak <= 125"),)), ["peak = 1250"])


def test_melts_made_are_counted_without_the_factor_held():
    first = make_plan(plain(3), "full")
    more = make_plan(plain(3), "optimal", 4, first_melt=9, first_firing=9, existing=first.raw, hold=["x3"])
    assert len(more.melts) == 4
    assert PACKING.name not in more.melts[0].settings
    assert {melt.settings["x3"] for melt in more.melts} == {5.0}


LEFT = Choice("pattern", ("plain", "ribbed", "waved"), gone=("plain",))
KILN = Choice("kiln", ("old", "new"), gone=("old",), set_per="firing")
LOT = Choice("lot", ("A", "B"), gone=("A",))


def lost(*factors, **kwargs):
    """A series of one amount and these factors; what can no longer be had is a limit, as a series file says it."""
    amounts = (Amount("flux", 10, 30, step=1), Amount("peak", 1100, 1240, step=10, set_per="firing"))
    limits = (limit("flux + 0.1 * peak <= 152"), *gone_limits(factors))
    return series(factors=(*amounts, *factors), limits=limits, beliefs=(), kiln=Kiln(1), budget=Budget(), **kwargs)


def test_what_can_no_longer_be_had_is_no_part_of_the_question_where_no_melt_was_made_with_it():
    asked = lost(LEFT, KILN)
    plan = make_plan(asked, melts=8)
    assert {melt.settings["kiln"] for melt in plan.melts} == {"new"}
    patterns = [melt.settings["pattern"] for melt in plan.melts]
    assert (patterns.count("ribbed"), patterns.count("waved")) == (4, 4)
    assert "left as it is: kiln new" in plan.reason
    judged = assess(plan)
    assert [str(effect.term) for effect in judged.effects] == ["flux", "peak", "pattern"]
    assert judged.indistinguishable == ()
    assert judged.still == ("kiln",)


def test_limits_and_beliefs_see_the_options_that_are_left_as_what_they_are():
    belief = Belief({"pattern": "waved", "flux": 20}, "contained", 0.8, 1)
    of_lost = Belief({"pattern": "plain", "flux": 20}, "contained", 0.8, 1)
    asked = replace(lost(LEFT), beliefs=(belief, of_lost))
    only_plain_is_tight = Ceiling(
        lambda c: c["flux"] * (c["pattern"] == 1), 25.0, ("pattern",), frozenset({"flux"}), ()
    )
    asked = replace(asked, limits=(*asked.limits, Limit("x", "y", only_plain_is_tight)))
    held = held_back(asked, [], None)
    assert held.series.factor("pattern").options == ("ribbed", "waved")
    assert [one.at for one in held.series.beliefs] == [{"pattern": "waved", "flux": 20}, {"flux": 20}]
    assert len(held.series.limits) == 2, "nothing is left that the limit on options could forbid"
    rows = np.array([[28.0, 1100.0, 0.0], [28.0, 1100.0, 1.0]])
    assert held.series.allowed(rows).tolist() == [False, True]
    assert held_back(lost(LEFT), [], np.array([[20.0, 1100.0, 0.0]])) is None, "a melt was made with every option"


@pytest.mark.parametrize("criterion", ["", "D", "I"])
def test_a_kiln_and_a_lot_that_were_replaced_at_once_leave_the_others_to_be_told_apart(criterion):
    asked = lost(LEFT, KILN, LOT)
    made = np.array([[10, 1240, 0, 0, 0], [28, 1240, 0, 0, 0], [28, 1100, 1, 0, 0], [28, 1100, 0, 0, 0]], dtype=float)
    plan = make_plan(asked, "optimal", 5, first_melt=5, first_firing=5, existing=made, criterion=criterion)
    assert {(melt.settings["kiln"], melt.settings["lot"]) for melt in plan.melts} == {("new", "B")}
    assert {melt.settings["pattern"] for melt in plan.melts} == {"ribbed", "waved"}
    assert len({melt.settings["flux"] for melt in plan.melts}) > 1
    assert len({melt.settings["peak"] for melt in plan.melts}) > 1


def test_what_is_tied_is_called_by_its_name():
    always = lost(Choice("lid", ("off", "on")))
    tied = replace(always, limits=(limit("flux >= 30"),), terms=(parse_term("flux"), parse_term("lid")))
    with pytest.raises(PlanImpossible, match="cannot tell all terms apart: flux; add melts"):
        make_plan(tied, "optimal", 6)

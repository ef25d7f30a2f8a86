"""Foldovers and repeats from a series: what they undo, whom they respect, what they refuse."""

import numpy as np
import pytest
from planning_series import plain, series

from meltdoe.errors import WrongUsage
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.merits.assessment import assess, mixed_up_terms
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series import Budget, Kiln

MAINS = {f"x{i}" for i in range(1, 8)}


def after(first, design, **asked):
    second = make_plan(
        first.series, design, first_melt=1 + len(first.melts), first_firing=1 + max(first.firings),
        existing=first.raw, existing_firings=first.firings, **asked,
    )  # fmt: skip
    return second, np.vstack([first.raw, second.raw])


def mixed_mains(coding, raw):
    return {name for group in mixed_up_terms(coding, raw)[0] if len(group) > 1 for name in group} & MAINS


def test_a_foldover_frees_every_main_effect():
    first = make_plan(plain(7), "fraction", 8)
    assert mixed_mains(first.series.coding, first.raw) == MAINS
    second, both = after(first, "foldover")
    assert len(second.melts) == 8
    assert second.melts[0].melt == 9
    assert mixed_mains(first.series.coding, both) == set()


def test_one_factor_reversed_is_freed_with_its_interactions():
    first = make_plan(plain(7), "fraction", 8)
    _, both = after(first, "foldover", reverse=["x3"])
    groups = mixed_up_terms(first.series.coding, both)[0]
    named = {name for group in groups for name in group}
    assert "x3" not in named
    assert not any(name.split(" * ").count("x3") for name in named)
    assert "x1" in named


def test_half_a_foldover_adds_the_more_telling_half():
    first = make_plan(plain(6), "fraction", 16)
    second, both = after(first, "half-foldover", reverse=["x1"])
    assert len(second.melts) == 8
    before, now = (
        np.linalg.matrix_rank(np.column_stack([np.ones(len(t)), t, *_products(t)]))
        for t in (first.raw / 5 - 1, both / 5 - 1)
    )
    assert now > before


def _products(table):
    return [table[:, i] * table[:, j] for i in range(table.shape[1]) for j in range(i)]


def test_centre_points_are_not_folded_and_options_change_over():
    first = make_plan(series(limits=(), budget=Budget()), "fraction", 8, centre_points=2)
    second, both = after(first, "foldover")
    assert len(second.melts) == 8
    packing = first.series.factor_names.index("packing")
    assert sorted(both[:, packing].tolist()) == [0.0] * 9 + [1.0] * 9


def test_a_foldover_beyond_the_budget_points_to_half_of_it():
    first = make_plan(plain(5, budget=Budget(melts=12)), "fraction", 8)
    with pytest.raises(PlanImpossible, match=r"takes 8 melts and the budget leaves 4.*half-foldover"):
        after(first, "foldover")
    second, _ = after(first, "half-foldover", reverse=["x1"])
    assert len(second.melts) == 4


def test_what_cannot_be_folded_is_said():
    with pytest.raises(PlanImpossible, match="no melt yet"):
        make_plan(plain(5), "foldover")
    with pytest.raises(WrongUsage, match='"x9" is no factor'):
        make_plan(plain(5), "foldover", reverse=["x9"])
    with pytest.raises(WrongUsage, match="only"):
        make_plan(plain(5), "fraction", reverse=["x1"])


@pytest.mark.parametrize("design", ["fraction", "optimal", "space-filling"])
def test_replicates_give_pure_error_within_the_kiln(design):
    drawn = make_plan(plain(4, per_firing=1, kiln=Kiln(3)), design, 8, replicates=3)
    assert len(drawn.melts) == 11
    assert assess(drawn).df_pure_error >= 3
    assert sum(melt.purpose.startswith("repeat of melt") for melt in drawn.melts) >= 3
    for firing in set(drawn.firings):
        rows = drawn.raw[np.array(drawn.firings) == firing]
        assert len(rows) <= 3
        assert len(set(rows[:, 0])) == 1


def test_two_melts_left_are_planned_with_what_was_made():
    first = make_plan(plain(4, per_firing=2, kiln=Kiln(3), budget=Budget(melts=14)), "optimal", 12)
    second, _ = after(first, "auto")
    assert 1 <= len(second.melts) <= 2
    assert "completing 12 melts" in second.reason


def test_refusals_of_few_melts_do_not_contradict_each_other():
    short = plain(4, per_firing=2, kiln=Kiln(3), budget=Budget(melts=2))
    with pytest.raises(PlanImpossible, match="raise the budget of melts"):
        make_plan(short, "optimal")


def test_firings_as_blocks_say_what_they_carry():
    drawn = make_plan(plain(4, kiln=Kiln(4)), "fraction", 16)
    assert len(set(drawn.firings)) == 4
    assert "the 4 firings carry" in drawn.reason
    carried = assess(drawn).carried_by_firings
    assert carried
    assert all(name in drawn.reason for name in carried)
    assert not set(carried) & {"x1", "x2", "x3", "x4"}


def test_added_melts_break_the_blocks_and_nothing_is_claimed_of_them():
    drawn = make_plan(plain(4, kiln=Kiln(4)), "fraction", 16, centre_points=2)
    assert len(drawn.melts) == 18
    assert "firings carry" not in drawn.reason

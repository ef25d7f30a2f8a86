"""Melts spread over days or lots: whole firings, equal parts, and what the parts carry is said."""

import numpy as np
import pytest
from planning_series import plain, series

from meltdoe.errors import WrongUsage
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series import Budget, Costs, Kiln


def blocks_of(plan):
    return np.array([int(melt.purpose.rpartition("block ")[2]) for melt in plan.melts])


def share_between(column, block):
    centred = column - column.mean()
    sums = np.array([centred[block == b].sum() ** 2 / (block == b).sum() for b in np.unique(block)])
    return sums.sum() / (centred**2).sum()


def test_a_factorial_loses_its_highest_interaction_to_two_blocks():
    # Box, Hunter and Hunter (1978), chapter 10, from memory
    plan = make_plan(plain(3), "fraction", 8, blocks=2)
    block, coded = blocks_of(plan), plan.raw / 5.0 - 1.0
    assert sorted(block.tolist()) == [1] * 4 + [2] * 4
    assert share_between(coded.prod(axis=1), block) == pytest.approx(1.0)
    for first, second in ((0, 1), (0, 2), (1, 2)):
        assert share_between(coded[:, first] * coded[:, second], block) == pytest.approx(0.0)
    assert "spread over 2 blocks" in plan.reason
    assert "no main effect goes with them, and no interaction of two factors is lost to them" in plan.reason


def test_interactions_that_blocks_carry_are_named():
    plan = make_plan(plain(3), "fraction", 8, blocks=4)
    carried = plan.reason.partition("they carry ")[2].partition(",")
    assert " * " in carried[0]
    block, coded = blocks_of(plan), plan.raw / 5.0 - 1.0
    lost = [f"x{i + 1} * x{j + 1}" for i, j in ((0, 1), (0, 2), (1, 2))
            if share_between(coded[:, i] * coded[:, j], block) > 0.99]  # fmt: skip
    assert len(lost) == 3  # three of four blocks' degrees of freedom: published, e.g. NIST handbook 5.3.3.3
    assert all(name in plan.reason for name in lost)


def test_repeats_are_the_blocks_where_there_are_as_many():
    plan = make_plan(plain(2), "fraction", 8, blocks=2)
    block = blocks_of(plan)
    for number in (1, 2):
        assert len(np.unique(plan.raw[block == number], axis=0)) == 4


@pytest.mark.parametrize("design", ["central-composite", "optimal", "space-filling"])
def test_other_plans_are_dealt_out_evenly(design):
    plan = make_plan(plain(3, kiln=Kiln(2)), design, 20, blocks=3)
    block = blocks_of(plan)
    assert sorted(np.bincount(block)[1:].tolist()) == [6, 7, 7]
    for column in plan.raw.T:
        assert share_between(column, block) < 0.1
    for firing in set(plan.firings):
        assert len(np.unique(block[np.array(plan.firings) == firing])) == 1


def test_whole_firings_go_into_a_block():
    plan = make_plan(series(budget=Budget(), costs=Costs()), "optimal", 12, blocks=2)
    firings, block = np.array(plan.firings), blocks_of(plan)
    for firing in set(plan.firings):
        assert len(np.unique(block[firings == firing])) == 1
    assert len(np.unique(block)) == 2
    # blocks follow each other in the order of the work
    assert (np.diff(block) != 0).sum() == 1


def test_repeats_keep_their_block_in_words():
    plan = make_plan(plain(2), "fraction", 8, blocks=2)
    again = [melt.purpose for melt in plan.melts if melt.purpose.startswith("repeat of melt")]
    assert len(again) == 4
    assert all(", block " in purpose for purpose in again)


def test_too_many_blocks_are_refused():
    with pytest.raises(PlanImpossible, match="4 melts cannot be spread over 5 blocks"):
        make_plan(plain(2), "fraction", 4, blocks=5)
    with pytest.raises(PlanImpossible, match="firings cannot be spread over"):
        make_plan(plain(2, 1, kiln=Kiln(4)), "full", blocks=3)
    with pytest.raises(WrongUsage, match="at least one block"):
        make_plan(plain(2), blocks=0)

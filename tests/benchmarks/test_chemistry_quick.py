"""The study of chemistry in small: its truths, its yardstick, and that a wrong chemistry does little harm."""

import numpy as np
import pytest

from .chemistry_study import compared, measured, needed
from .chemistry_truths import SORTS, chemistry_truth


def test_savings_and_losses_are_those_of_pairs():
    climb = np.array([0.1, 0.3, 0.5, 0.65, 0.7, 0.82, 0.85, 0.9])
    without = np.array([climb, climb, 0.5 * climb])
    with_it = np.array([np.roll(climb, -1), climb, 0.5 * climb])
    with_it[0, -1] = 0.9
    assert needed(without, 0.8).tolist() == [12.0, 12.0, 18.0]
    one = compared(with_it, without)
    assert one.needed == pytest.approx((40 / 3, 32 / 3))
    assert one.saved[0] == pytest.approx((2 / 3, 2 / 3))
    assert one.loss == pytest.approx(-0.1 / 3 / without.mean())
    same = compared(without, without)
    assert (same.saved, same.gained, same.loss) == (((0.0, 0.0), (0.0, 0.0)), (0.0, 0.0), 0.0)


@pytest.mark.parametrize("sort", SORTS)
def test_every_truth_can_reach_the_target_with_and_without_the_ceiling(sort):
    for worth in (None, 4.0):
        truth = chemistry_truth(sort, worth)
        assert truth.reachable
        assert truth.share < 0.35


def test_truths_lean_the_way_they_are_called():
    stiff, fluid = np.array([[1060.0, 10.0, 5.0, 0.0], [1240.0, 20.0, 5.0, 0.0]])

    def poured(sort, raw):
        truth = chemistry_truth(sort, None)
        return float(truth._stages(raw[None])[1, 0])

    assert poured("follows", fluid) > 0.8 > 0.3 > poured("follows", stiff)
    assert poured("turned round", fluid) < poured("turned round", stiff)
    assert poured("flat", fluid) == poured("flat", stiff)
    middle = np.array([1150.0, 15.0, 5.0, 0.0])
    assert poured("60 °C stiffer", middle) < poured("follows", middle) < poured("60 °C thinner", middle)


def test_the_same_melts_give_the_same_figures_and_a_wrong_chemistry_costs_little():
    found = measured("turned round", [None, 2.0], 3)
    assert found.shape == (2, 8)
    assert np.array_equal(found[:1], measured("turned round", [None], 3))
    assert found[1].mean() > found[0].mean() - 0.15

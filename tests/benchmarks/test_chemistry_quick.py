"""The study of chemistry in small: its truths, its yardstick, and that a wrong chemistry does little harm."""

import numpy as np
import pytest

from meltdoe.series.chemistry import Chemistry

from .chemistry_study import compared, measured, needed
from .chemistry_truths import SORTS, WORKSHOPS, chemistry_truth

CHEMISTRY = Chemistry("poured", "contained")


def test_savings_and_losses_are_those_of_pairs():
    climb = np.array([0.1, 0.3, 0.5, 0.65, 0.7, 0.82, 0.85, 0.9])
    without = np.array([climb, climb, 0.5 * climb])
    with_it = np.array([np.roll(climb, -1), climb, 0.5 * climb])
    with_it[0, -1] = 0.9
    assert needed(without, 0.8).tolist() == [8.0, 8.0, 18.0]
    one = compared(with_it, without)
    assert one.needed == pytest.approx((32 / 3, 25 / 3))
    assert one.saved[0] == pytest.approx((2 / 3, 2 / 3))
    assert one.loss == pytest.approx(-0.1 / 3 / without.mean())
    same = compared(without, without)
    assert (same.saved, same.gained, same.loss) == (((0.0, 0.0), (0.0, 0.0)), (0.0, 0.0), 0.0)


@pytest.mark.parametrize("half", WORKSHOPS)
@pytest.mark.parametrize("sort", SORTS)
def test_every_truth_can_reach_the_target_with_and_without_the_ceiling(sort, half):
    for chemistry in (None, CHEMISTRY):
        truth = chemistry_truth(sort, chemistry, half)
        assert truth.reachable
        assert truth.share < 0.35


@pytest.mark.parametrize("half", WORKSHOPS)
def test_truths_lean_the_way_they_are_called(half):
    factors = chemistry_truth("flat", None, half).series.factors
    rest = [(f.low + f.high) / 2 for f in factors[2:-1]]
    stiff, middle, fluid = (
        np.array([factors[0].decoded(x), factors[1].decoded(x), *rest, 0.0]) for x in (-0.9, 0, 0.8)
    )

    def poured(sort, raw):
        truth = chemistry_truth(sort, None, half)
        return float(truth._stages(raw[None])[1, 0])

    assert poured("follows", fluid) > 0.8 > 0.3 > poured("follows", stiff)
    assert poured("turned round", fluid) < poured("turned round", stiff)
    assert poured("flat", fluid) == poured("flat", stiff)
    assert poured("60 °C stiffer", middle) < poured("follows", middle) < poured("60 °C thinner", middle)


def test_the_same_melts_give_the_same_figures_and_a_wrong_chemistry_costs_little():
    found = measured("turned round", [None, CHEMISTRY], 3)
    assert found.shape == (2, 8)
    assert np.array_equal(found[:1], measured("turned round", [None], 3))
    assert found[1].mean() > found[0].mean() - 0.15

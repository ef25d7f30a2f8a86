"""Price and risk of a melt, by hand."""

import numpy as np
import pytest

from meltdoe.next_melt.information import StageView
from meltdoe.next_melt.worth import expected_worth
from meltdoe.series import Costs


def stage(*good, after=None):
    """Chances of good at two settings, the same in every draw but for a shift that averages out."""
    chances = np.array([good, good]) + np.array([[0.05], [-0.05]])
    return StageView(np.stack([1 - chances, chances], axis=2), np.array([False, True]), after)


CHAIN = [stage(0.9, 0.5), stage(0.8, 0.4, after=0)]


def test_a_loss_is_weighed_by_the_chance_to_get_there_and_fail():
    found = expected_worth(Costs(melt=10.0, loss={"contained": 40.0, "poured": 5.0}), ["contained", "poured"], CHAIN)
    fails = np.array([[0.1, 0.5], [0.9 * 0.2, 0.5 * 0.6]])
    assert found.loss == pytest.approx(40.0 * fails[0] + 5.0 * fails[1])
    assert found.price == pytest.approx(10.0 + found.loss)
    assert found.costly_failure == pytest.approx(fails[0] + fails[1])


def test_a_failure_that_costs_nothing_is_no_risk():
    found = expected_worth(Costs(melt=10.0, loss={"contained": 0.5, "poured": 0.0}), ["contained", "poured"], CHAIN)
    assert found.costly_failure == pytest.approx([0.1, 0.5])
    free = expected_worth(Costs(melt=10.0), ["contained", "poured"], CHAIN)
    assert free.price == pytest.approx([10.0, 10.0])
    assert free.loss == pytest.approx([0.0, 0.0])
    assert free.costly_failure == pytest.approx([0.0, 0.0])


def test_two_failures_of_one_melt_are_no_more_than_certain():
    side_by_side = [stage(0.2, 0.9), stage(0.3, 0.9)]
    found = expected_worth(Costs(loss={"lid": 4.0, "wall": 4.0}), ["lid", "wall"], side_by_side)
    assert found.costly_failure == pytest.approx([1.0, 0.2])
    assert found.loss == pytest.approx([4.0 * 1.5, 4.0 * 0.2])


@pytest.mark.parametrize("chances", [[0.7], [0.9, 0.5, 0.3]])
def test_each_setting_is_weighed_by_itself_however_many_there_are(chances):
    chain = [stage(*chances), stage(*[0.6] * len(chances), after=0)]
    found = expected_worth(Costs(melt=1.0, loss={"poured": 10.0}), ["contained", "poured"], chain)
    assert found.price == pytest.approx(1.0 + 10.0 * np.array(chances) * 0.4)
    assert found.costly_failure == pytest.approx(np.array(chances) * 0.4)

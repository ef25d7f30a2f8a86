"""Settings that could be tried: on the steps, within limits, every option there, ends and middle among them."""

from time import perf_counter

import numpy as np
import pytest
from planning_series import FLUX, HOLD, PACKING, PEAK, limit, series

from meltdoe.plans.optimal.candidates import candidate_settings, corners, settable_values
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series import Amount


def test_a_small_grid_is_listed_whole():
    small = series(factors=(Amount("flux", 15, 25, step=5), Amount("peak", 1000, 1100, step=50), PACKING))
    found = candidate_settings(small, 100)
    assert len(found) == 3 * 3 * 2
    assert len(np.unique(found, axis=0)) == 18


def test_every_setting_keeps_limits_steps_and_ranges():
    found = candidate_settings(series(), 3000, seed=5)
    assert len(found) >= 0.8 * 3000
    assert series().allowed(found).all()
    for i, factor in enumerate(series().factors):
        assert np.isin(found[:, i], factor.grid()).all()
        assert set(found[:, i]) >= {factor.grid()[0], factor.grid()[-1]}


def test_middle_and_corners_come_first():
    found = candidate_settings(series(limits=()), 2000)
    assert found[0].tolist() == pytest.approx([27.0, 1120.0, 60.0, 0.0, 35.0], abs=10)
    assert {tuple(row) for row in corners(series())} <= {tuple(row) for row in found}


def test_a_firing_that_is_decided_stays_as_it_is():
    found = candidate_settings(series(), 400, per_firing={"peak": 1210.0, "hold": 60.0})
    assert set(found[:, 1]) == {1210.0}
    assert set(found[:, 2]) == {60.0}
    assert found[:, 0].max() == 39.0


def test_a_thin_region_is_found_by_listing():
    thin = series(factors=(FLUX, PEAK, HOLD), limits=(limit("flux + 0.1 * peak <= 115.5"),))
    found = candidate_settings(thin, 500)
    assert set(found[:, 0]) == {15.0}
    assert set(found[:, 1]) == {1000.0}
    assert len(found) == len(HOLD.grid())


def test_no_setting_at_all_is_said():
    with pytest.raises(PlanImpossible, match='no setting keeps the limits "flux < 15"'):
        candidate_settings(series(limits=(limit("flux < 15"),)), 100)


def test_the_seed_decides():
    first, again, other = (candidate_settings(series(), 500, seed=s) for s in (1, 1, 2))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_a_log_scale_is_filled_evenly_in_its_own_scale():
    free = series(factors=(Amount("hold", 10, 1000, scale="log"), FLUX), limits=())
    hold = candidate_settings(free, 4000)[:, 0]
    assert np.mean(hold < 100) == pytest.approx(0.5, abs=0.03)
    assert hold.min() >= 10
    assert hold.max() <= 1000


def test_fifty_thousand_take_a_moment():
    candidate_settings(series(), 100)
    start = perf_counter()
    found = candidate_settings(series(), 50_000)
    assert len(found) >= 40_000
    assert perf_counter() - start < 2.0  # 0.15 s on an idle machine; room for a busy one


@pytest.mark.parametrize(
    ("factor", "first", "last", "most"),
    [
        (Amount("peak", 1100, 1250), [1100, 1102, 1104], [1246, 1248, 1250], 80),
        (Amount("peak", 1107.3, 1251), [1107.3, 1108, 1110], [1248, 1250, 1251], 80),
        (Amount("hold", 20, 180, scale="log"), [20, 21, 22], [160, 170, 180], 100),
        (Amount("hold", 0.5, 8, scale="log"), [0.5, 0.51, 0.52], [7.8, 7.9, 8], 130),
        (Amount("flux", 15, 25, step=5), [15, 20, 25], [15, 20, 25], 3),
    ],
)
def test_amounts_without_steps_are_proposed_in_round_numbers(factor, first, last, most):
    values = settable_values(factor)
    assert values[:3].tolist() == first
    assert values[-3:].tolist() == last
    assert 3 <= len(values) <= most
    assert (np.diff(values) > 0).all()


def test_where_no_round_number_keeps_the_limits_finer_ones_are_found():
    thin = series(factors=(Amount("peak", 1100, 1250),), limits=(limit("peak > 1100.1"), limit("peak < 1101.9")))
    found = candidate_settings(thin, 20)
    assert len(found) >= 5
    assert thin.allowed(found).all()

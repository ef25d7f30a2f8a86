"""Definitive screening with choices, published arrays and Sobol starts for a series."""

import numpy as np
import pytest
from planning_series import plain, series

from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.families.screening import definitive_screening
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series import Amount, Budget, Choice, Costs, Kiln


@pytest.mark.parametrize("factors", range(4, 13))
def test_definitive_screening_with_choices_keeps_main_effects_apart(factors):
    for choices in (1, 2, factors // 2):
        runs = definitive_screening(factors, choices)
        assert len(runs) == 2 * (factors + factors % 2) + 2
        assert set(np.unique(runs[:, -choices:])) == {-1.0, 1.0}
        left, right = np.triu_indices(factors, 1)
        second = np.column_stack([runs[:, left] * runs[:, right], runs[:, : factors - choices] ** 2])
        assert np.abs(runs.T @ second).max() == 0.0
        assert np.linalg.matrix_rank(np.column_stack([np.ones(len(runs)), runs])) == factors + 1


def test_definitive_screening_of_a_series_with_a_choice():
    factors = (Choice("lid", ("open", "closed")), *(Amount(f"x{i}", 0, 10, step=1) for i in range(4)))
    drawn = make_plan(plain(1, factors=factors), "definitive-screening")
    assert len(drawn.melts) == 14
    assert set(drawn.raw[:, 0]) == {0.0, 1.0}
    assert all(set(column) == {0.0, 5.0, 10.0} for column in drawn.raw[:, 1:].T)


def test_arrays_hold_mixed_levels():
    factors = (
        Choice("lid", ("open", "closed")),
        Choice("stone", ("a", "b", "c")),
        Amount("flux", 10, 30, step=5),
        Amount("hold", 1, 4, scale="log"),
    )
    drawn = make_plan(plain(1, factors=factors), "array")
    assert len(drawn.melts) == 18
    assert "L18" in drawn.reason
    for i, levels in enumerate((2, 3, 3, 3)):
        assert np.unique(drawn.raw[:, i], return_counts=True)[1].tolist() == [18 // levels] * levels
    assert sorted(set(drawn.raw[:, 3].round(9))) == [1.0, 2.0, 4.0]
    for melts in (9, 12, 27, 36):
        assert len(make_plan(plain(3), "array", melts).melts) == melts
    with pytest.raises(PlanImpossible, match="no published array"):
        make_plan(plain(3), "array", 10)


def test_sobol_starts_keep_limits_and_firings_and_spread():
    given = series(budget=Budget(), costs=Costs(), kiln=Kiln(3))
    drawn = make_plan(given, "sobol", 15)
    assert given.allowed(drawn.raw).all()
    firings = np.array(drawn.firings)
    for firing in set(drawn.firings):
        assert len(np.unique(drawn.raw[firings == firing][:, list(given.per_firing)], axis=0)) == 1
    spread = make_plan(plain(2), "sobol", 16).raw
    assert (spread.min(axis=0) <= 1).all()
    assert (spread.max(axis=0) >= 9).all()


def test_plackett_burman_goes_on_to_48():
    drawn = make_plan(plain(24), "plackett-burman")
    assert len(drawn.melts) == 28

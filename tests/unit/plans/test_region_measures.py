"""Measures over the region, and what is left when something is lost."""

import numpy as np
import pytest
from planning_series import plain, series

from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.merits.aliasing import alias_matrix
from meltdoe.plans.merits.assessment import assess
from meltdoe.plans.merits.region_measures import region_measures
from meltdoe.series.terms import main_terms


def test_an_orthogonal_plan_in_closed_form():
    drawn = make_plan(plain(3), "full", 8)
    found = region_measures(drawn.series, main_terms(drawn.series.factors), drawn.raw)
    assert (found.efficiencies.d, found.efficiencies.a, found.efficiencies.g) == pytest.approx((100.0, 100.0, 100.0))
    # v = (1 + x1^2 + x2^2 + x3^2) / 8, whose average over the cube is 2 / 8
    assert found.efficiencies.average_variance == pytest.approx(0.25, abs=0.002)
    assert found.efficiencies.largest_variance == pytest.approx(0.5)
    assert found.leverage == pytest.approx(np.full(8, 0.5))
    assert (np.diff(found.variance) >= 0).all()
    assert found.variance[-1] <= 0.5
    assert found.strongest_bias == tuple((a, b, s) for a, b, s in found.strongest_bias if a == "constant")


def test_the_bias_of_a_half_fraction():
    drawn = make_plan(plain(3), "fraction", 4)
    found = region_measures(drawn.series, main_terms(drawn.series.factors), drawn.raw)
    shares = {(fitted, left): abs(share) for fitted, left, share in found.strongest_bias}
    assert shares[("x1", "x2 * x3")] == pytest.approx(1.0)
    assert set(shares) == {("x1", "x2 * x3"), ("x2", "x1 * x3"), ("x3", "x1 * x2")}


def test_the_region_ends_at_the_limits():
    drawn = make_plan(series(), "optimal", 10)
    inside = region_measures(drawn.series, main_terms(drawn.series.factors), drawn.raw)
    free = region_measures(series(limits=()), main_terms(drawn.series.factors), drawn.raw)
    assert inside.efficiencies.largest_variance < free.efficiencies.largest_variance


def test_too_few_melts_have_no_efficiency_and_lose_everything():
    drawn = make_plan(plain(5), "fraction", 8)
    judged = assess(drawn)
    assert judged.region.efficiencies is not None
    assert judged.drop_melt.kept_worst > 0.5
    few = region_measures(drawn.series, main_terms(drawn.series.factors), drawn.raw[:3])
    assert few.efficiencies is None
    assert few.leverage == pytest.approx(np.ones(3))


def test_a_plan_whose_terms_leave_nothing_out_has_no_bias():
    """A quadratic in two amounts: nothing of second order is left out."""
    table = np.array([[a, b] for a in (-1.0, 0.0, 1.0) for b in (-1.0, 0.0, 1.0)])
    X = np.column_stack([np.ones(9), table, table**2, table[:, :1] * table[:, 1:]])
    assert alias_matrix(X, np.empty((9, 0))).shape == (6, 0)

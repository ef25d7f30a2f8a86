"""The prior in which few factors matter: its probabilities add up and its sizes are those that it states."""

from itertools import product
from math import comb

import numpy as np
import pytest

from meltdoe.fit.model.inclusion_prior import SERIES_CLASSES, InclusionPrior, ScaleClass, SeriesClass, TermRoles
from meltdoe.fit.model.prior import GRADE_INTERCEPT_SD, INTERCEPT_SD

# constant, flux, peak, flux * peak, flux ^ 2, and a square of something outside the mixture
ROLES = TermRoles(((), (0,), (1,), (0, 1), (0,), ()), (0, 1, 1, 2, 2, 2))
PATTERNS = np.array(list(product([False, True], repeat=2)))


def test_classes_are_chances_that_add_up_to_one():
    assert sum(one.chance for one in SERIES_CLASSES) == pytest.approx(1.0)


@pytest.mark.parametrize("k", [1, 3, 6, 9])
def test_patterns_of_all_classes_together_have_probability_one(k):
    counts = np.arange(k + 1)
    ways = np.array([comb(k, int(count)) for count in counts])
    scales = InclusionPrior().scales(k)
    assert sum(float(ways @ np.exp(scale.log_pattern(counts, k))) for scale in scales) == pytest.approx(1.0)
    expected = sum(float((ways * counts) @ np.exp(scale.log_pattern(counts, k))) for scale in scales)
    assert expected == pytest.approx(k * InclusionPrior().active(k))


def test_the_chance_of_a_pattern_is_a_mixture_of_binomials():
    scale = ScaleClass(InclusionPrior(), (float(np.log(0.3)), float(np.log(0.2))), (0.5, 0.1))
    found = np.exp(scale.log_pattern(np.array([0, 2]), 3))
    assert found == pytest.approx([0.3 * 0.5**3 + 0.2 * 0.9**3, 0.3 * 0.5**3 + 0.2 * 0.1**2 * 0.9])


def test_classes_that_share_their_sizes_stand_together():
    ordinary, steep = InclusionPrior().scales(4)
    assert ordinary.sizes == InclusionPrior()
    assert ordinary.active == pytest.approx((0.5, 0.05))
    assert np.exp(ordinary.log_chances) == pytest.approx([0.3, 0.3])
    assert np.exp(steep.log_chances) == pytest.approx([0.4])
    assert steep.sizes == InclusionPrior().widened(2.5)


def test_a_steep_series_is_steeper_in_all_but_its_constant():
    plain = InclusionPrior(0.1, 1.0, 0.2, 2.0, 3.0, intercept_sd=4.0)
    assert plain.widened(2.0) == InclusionPrior(0.2, 2.0, 0.4, 4.0, 6.0, intercept_sd=4.0)


def test_above_six_factors_as_many_are_expected_to_be_active_as_among_six():
    prior = InclusionPrior(classes=(SeriesClass(1.0, 0.5),))
    assert [k * prior.active(k) for k in (1, 6, 7, 12)] == pytest.approx([0.5, 3.0, 3.0, 3.0])
    assert prior.active(0) == 0.5
    assert prior.scales(12)[0].active == pytest.approx((0.25,))


def test_products_are_large_only_where_all_their_factors_are_active():
    found = ROLES.sds(InclusionPrior(), PATTERNS, "pass")
    assert found == pytest.approx(
        np.array(
            [
                [INTERCEPT_SD, 0.3, 0.3, 0.15, 0.15, 1.5],
                [INTERCEPT_SD, 0.3, 2.0, 0.15, 0.15, 1.5],
                [INTERCEPT_SD, 2.0, 0.3, 0.15, 2.0, 1.5],
                [INTERCEPT_SD, 2.0, 2.0, 1.5, 2.0, 1.5],
            ]
        )
    )


def test_of_a_measured_outcome_the_small_sizes_are_halved():
    idle = ROLES.sds(InclusionPrior(), PATTERNS[:1], "measured")[0]
    assert idle == pytest.approx([INTERCEPT_SD, 0.15, 0.15, 0.075, 0.075, 1.5])
    assert ROLES.per_sigma("measured").tolist() == [False, True, True, True, True, True]
    assert not ROLES.per_sigma("pass").any()


def test_the_constant_has_the_size_of_its_kind_unless_one_is_given():
    assert ROLES.sds(InclusionPrior(), PATTERNS, "grade")[:, 0] == pytest.approx(np.full(4, GRADE_INTERCEPT_SD))
    assert ROLES.sds(InclusionPrior(intercept_sd=7.0), PATTERNS, "grade")[:, 0] == pytest.approx(np.full(4, 7.0))


def test_factors_are_counted_from_the_columns():
    assert ROLES.n_factors == 2
    assert TermRoles(((),), (0,)).n_factors == 0

"""Lenth's margins, half-normal places, effects with aliases, curvature."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.half_normal import curvature, half_normal_quantiles, lenth, two_level_effects


def test_margins_by_hand():
    """|effects| 1..7: s0 = 1.5 * 4 = 6, all below 15, so PSE = 6."""
    result = lenth([1, -2, 3, -4, 5, -6, 7])
    assert (result.s0, result.pse, result.df) == pytest.approx((6, 6, 7 / 3))
    assert not result.beyond_margin.any()


def test_one_giant_does_not_hide_itself():
    result = lenth([0.1, -0.2, 0.15, 0.05, -0.1, 0.12, 8.0])
    assert result.beyond_simultaneous_margin.tolist() == [False] * 6 + [True]
    assert result.margin < result.simultaneous_margin


def test_margins_follow_the_unit():
    effects = np.array([1.0, -2.5, 0.3, 4.0, -0.2])
    assert lenth(10 * effects).margin == pytest.approx(10 * lenth(effects).margin)


def test_a_wider_level_gives_a_wider_margin():
    effects = [1.0, -2.5, 0.3, 4.0, -0.2]
    assert lenth(effects, 0.90).margin < lenth(effects, 0.95).margin


def test_two_effects_are_too_few():
    with pytest.raises(Inestimable, match="too few"):
        lenth([1.0, 2.0])


def test_half_normal_places():
    assert half_normal_quantiles(1)[0] == pytest.approx(0.6744898)  # median of |Z|
    places = half_normal_quantiles(15)
    assert (np.diff(places) > 0).all()


def test_effects_of_a_fraction_name_their_aliases():
    """2^(3-1) with C = AB: three effects, each shared by a main effect and a product."""
    table = np.array([[-1, -1, 1], [1, -1, -1], [-1, 1, -1], [1, 1, 1]])
    found = two_level_effects(table, [3.0, 5.0, 7.0, 13.0])
    assert found.terms == ((0,), (1,), (2,))
    assert found.effects == pytest.approx([4, 6, 2])
    assert found.aliases == (((1, 2),), ((0, 2),), ((0, 1),))


def test_repeated_main_effect_columns_are_refused():
    with pytest.raises(Inestimable, match="column 2"):
        two_level_effects([[-1, 1], [1, -1], [-1, 1], [1, -1]], [1, 2, 3, 4])


def test_levels_other_than_two_are_refused():
    with pytest.raises(ValueError, match="only -1"):
        two_level_effects([[0.0], [1.0]], [1, 2])


def test_curvature_by_hand():
    """Means 10 and 13, centre sd 1, se = sqrt(1/4 + 1/4)."""
    found = curvature([8, 9, 11, 12], [12, 14, 13, 13])
    assert found.difference == pytest.approx(-3)
    assert found.se == pytest.approx(np.sqrt(2 / 3) * np.sqrt(0.5))
    assert found.low < -3 < found.high < 0


@pytest.mark.parametrize("centre", [[5.0], [5.0, 5.0]])
def test_curvature_needs_noise_to_judge_by(centre):
    with pytest.raises(Inestimable):
        curvature([1, 2, 3, 4], centre)

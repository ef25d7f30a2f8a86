"""Power of t and F tests and of two pass rates against reference outputs.

Sources: R Core Team, reference output of power.t.test, power.anova.test and power.prop.test; Champely, S., vignette on
basic functions for power analysis (both seen); Cohen (1988), Statistical Power Analysis for the Behavioral Sciences,
exercise 9.1.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from meltdoe.plans.merits.power import (
    Sides,
    arcsine_difference,
    arcsine_power,
    arcsine_size,
    continuity_corrected_size,
    effect_power,
    f_power,
    proportions_power,
    proportions_size,
    solve_size,
    t_power,
)


def two_sample(n: float, delta: float, sides: Sides = "both") -> float:
    return t_power(delta * sqrt(n / 2), 2 * n - 2, sides=sides)


def test_two_sample_t() -> None:
    assert two_sample(20, 1, "larger tail") == pytest.approx(0.8689528017, abs=1e-6)  # printed 0.8689528
    assert two_sample(20, 1) == pytest.approx(0.8689530277, abs=1e-9)
    assert two_sample(30, 0.5) == pytest.approx(0.4778965208, abs=1e-6)  # printed 0.4778965
    assert two_sample(4, 0.1, "larger tail") == pytest.approx(0.03295319692, abs=1e-6)
    assert two_sample(4, 0.1) == pytest.approx(0.0516630134, abs=1e-6)
    assert solve_size(lambda n: two_sample(n, 1), 0.9) == pytest.approx(22.0210977, abs=1e-3)  # printed 22.0211
    assert solve_size(lambda n: two_sample(n, 1, "one"), 0.9) == pytest.approx(17.84712609, abs=1e-3)  # printed
    assert solve_size(lambda n: two_sample(n, 0.5), 0.8) == pytest.approx(63.76561044, abs=1e-3)  # printed 63.76561


def test_two_level_effect_is_a_two_sample_comparison() -> None:
    assert effect_power(1.0, 1.0, 40, 38) == pytest.approx(0.8689530277, abs=1e-9)


def test_f_tests() -> None:
    def balanced(n: float, ratio: float) -> float:  # four groups, variance between over variance within
        return f_power(3 * n * ratio, 3, 4 * (n - 1))

    assert balanced(5, 1 / 3) == pytest.approx(0.3535594238, abs=1e-6)  # printed 0.3535594
    assert solve_size(lambda n: balanced(n, 1 / 3), 0.8) == pytest.approx(11.92613096, abs=1e-3)  # printed 11.92613
    spread = np.var([120, 130, 140, 150], ddof=1) / 500
    assert solve_size(lambda n: balanced(n, spread), 0.9) == pytest.approx(15.18833921, abs=1e-3)  # printed 15.18834
    assert f_power(0.1 / 0.9 * 95, 5, 89) == pytest.approx(0.6735857709, abs=1e-6)


def test_two_pass_rates_normal() -> None:
    assert proportions_power(0.5, 0.75, 50) == pytest.approx(0.7401659013, abs=1e-5)  # printed 0.7401659
    assert proportions_size(0.5, 0.75, 0.9) == pytest.approx(76.70692845, abs=1e-4)  # printed 76.70693
    assert proportions_size(0.55, 0.5, 0.8) == pytest.approx(1564.672053, abs=0.01)  # printed 1564.672
    assert proportions_size(0.9, 1.0, 0.8) == pytest.approx(73.37427311, abs=1e-3)  # printed 73.37427
    assert proportions_size(0.5, 0.75, 0.9, pooled=False) == pytest.approx(73.55196143, abs=1e-4)
    assert continuity_corrected_size(proportions_size(0.5, 0.75, 0.9), 0.5, 0.75) == pytest.approx(
        84.51761881, abs=1e-3
    )
    second = 0.5 + solve_size(lambda d: proportions_power(0.5, 0.5 + d, 50), 0.9, smallest=0.1)
    assert second == pytest.approx(0.8026305817, abs=1e-4)  # printed 0.8026141 with the solver's default tolerance


def test_two_pass_rates_arcsine() -> None:
    assert arcsine_difference(0.55, 0.5) == pytest.approx(0.1001674212, abs=1e-9)  # printed 0.1001674
    assert arcsine_difference(0.10, 0.05) == pytest.approx(0.192474297, abs=1e-9)  # printed 0.1924743
    assert arcsine_size(arcsine_difference(0.55, 0.5), 0.8) == pytest.approx(1564.529009, abs=0.01)  # printed 1564.529
    assert arcsine_size(arcsine_difference(0.1, 0.05), 0.8) == pytest.approx(423.7318629, abs=1e-3)  # printed 423.7319
    assert arcsine_power(0.2, 543, 675) == pytest.approx(0.9344101851, abs=1e-6)  # printed 0.9344102
    assert arcsine_size(0.2, 0.8) == pytest.approx(392.4430262, abs=1e-3)  # printed 392.443
    h = arcsine_difference(0.75, 0.5)
    assert arcsine_size(h, 0.8, groups=1, sides="one") == pytest.approx(22.55126268, abs=1e-4)  # printed 22.55126
    assert arcsine_power(h, 40, level=0.01, sides="one") == pytest.approx(0.8377325487, abs=1e-6)  # printed 0.8377325
    assert arcsine_power(h, 40, level=0.01) == pytest.approx(0.7690433932, abs=1e-6)  # printed 0.7690434

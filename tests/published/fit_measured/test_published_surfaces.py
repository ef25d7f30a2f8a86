"""Published response surfaces and their canonical forms."""

from __future__ import annotations

import numpy as np
import pytest
from measured_data import numbers, quadratic, read

from meltdoe.fit.classical.canonical_surface import canonical_surface
from meltdoe.fit.classical.least_squares import lack_of_fit, least_squares


class TestYield:
    """12-run central composite in two blocks: Box, Hunter and Hunter (1978), Statistics for Experimenters, pp. 519-521.

    Data of the public-domain file BOXYIEL3.DAT of the NIST Statistical Engineering Division. The equation is
    remembered from the book (whose coefficients differ by up to 0.03 from least squares on these data); values here
    are recomputed.
    """

    table = read("yield_ccd_canonical")
    x, y = numbers(table, "x1", "x2"), numbers(table, "y")

    def test_fit(self) -> None:
        fit = least_squares(quadratic(self.x)[0], self.y)
        recomputed = [87.3747468, -1.383883966, 0.362079674, -2.143812067, -3.094099054, -4.875]
        assert fit.coef == pytest.approx(recomputed, abs=1e-6)
        assert fit.coef == pytest.approx([87.36, -1.39, 0.37, -2.15, -3.12, -4.88], abs=0.03)
        assert [fit.sigma, fit.r_squared] == pytest.approx([2.004034824, 0.8864833624], abs=1e-6)

    def test_canonical_form_is_a_ridge_far_outside(self) -> None:
        X, powers = quadratic(self.x)
        fit = least_squares(X, self.y)
        form = canonical_surface(fit.coef, fit.covariance, powers, fit.df, settings=self.x)
        assert form.stationary == pytest.approx([-3.73282533, 2.999193438], abs=1e-4)
        assert form.value == pytest.approx(90.50061885, abs=1e-4)
        assert form.eigenvalues == pytest.approx([-0.1355772993, -5.102333822], abs=1e-6)
        assert np.abs(form.axes[:, 0]) == pytest.approx([0.7717932006, 0.635873616], abs=1e-6)
        assert form.nature == "maximum"
        assert form.inside is False
        assert form.ridge.tolist() == [True, False]
        assert "ridge" in form.in_words
        assert "outside" in form.in_words

    def test_axial_levels_as_the_root_of_two(self) -> None:
        X, powers = quadratic(np.where(np.abs(self.x) > 1, np.sign(self.x) * np.sqrt(2), self.x))
        fit = least_squares(X, self.y)
        form = canonical_surface(fit.coef, fit.covariance, powers, fit.df)
        assert form.stationary == pytest.approx([-3.737037832, 3.002834594], abs=1e-4)

    def test_blocks(self) -> None:
        blocks = numbers(self.table, "block")
        fit = least_squares(quadratic(self.x)[0], self.y, blocks=blocks)
        # Sum to zero: the first block lies the coefficient above the middle, the second as far below it.
        assert -2 * fit.coef[-1] == pytest.approx(-1.701054644, abs=1e-6)
        assert fit.sigma == pytest.approx(1.755914186, abs=2e-6)
        test = lack_of_fit(fit, self.y, np.column_stack([blocks, self.x]))
        assert [test.statistic, test.p_value] == pytest.approx([1.517700764, 0.4208504938], abs=2e-6)


class TestVapourDeposition:
    """11-run inscribed central composite, two outcomes: NIST/SEMATECH e-Handbook, section 5.4.7.3.

    Data from Czitrom and Spagon (1997), Statistical Case Studies for Industrial Process Improvement, ch. 15. Numbers
    printed in the handbook, except the all-coded quadratic for stress and the canonical forms, which are recomputed.
    """

    table = read("cvd_two_responses")
    x = numbers(table, "cp", "cr")
    uniformity, stress = numbers(table, "uniformity"), numbers(table, "stress")

    def test_uniformity_full(self) -> None:
        fit = least_squares(quadratic(self.x)[0], self.uniformity)
        coef = [5.86612597, -1.909670352, -0.2240812668, 0.1337334835, 0.03373348349, 1.686173378]
        se = [0.4177266299, 0.3610305598, 0.3610305598, 0.6073297824, 0.6073297824, 0.7176550592]
        assert fit.coef == pytest.approx(coef, abs=1e-5)
        assert fit.se == pytest.approx(se, abs=1e-5)
        assert [fit.sigma, fit.r_squared] == pytest.approx([0.7235398307, 0.8715742919], abs=1e-5)
        assert fit.aic == pytest.approx(-3.79222396, abs=1e-4)

    def test_uniformity_reduced(self) -> None:
        fit = least_squares(quadratic(self.x)[0][:, [0, 1, 2, 5]], self.uniformity)
        assert fit.coef == pytest.approx([5.927272727, -1.909670352, -0.2240812668, 1.686173378], abs=1e-5)
        test = lack_of_fit(fit, self.uniformity, self.x)
        assert [test.ss_lack, test.ss_pure] == pytest.approx([1.496306779, 1.146666667], abs=1e-5)
        assert [test.statistic, test.p_value] == pytest.approx([0.5219674809, 0.7588320403], abs=1e-5)

    def test_stress_reduced(self) -> None:
        fit = least_squares(quadratic(self.x)[0][:, [0, 1, 2, 3]], self.stress)
        assert fit.coef == pytest.approx([7.734102494, 0.735932676, 0.4968628623, -0.4942554116], abs=1e-5)
        assert fit.se == pytest.approx([0.03715013862, 0.04407077119, 0.04407077119, 0.07094266102], abs=1e-5)
        test = lack_of_fit(fit, self.stress, self.x)
        assert [test.statistic, test.p_value] == pytest.approx([0.5838826809, 0.7286963142], abs=1e-5)

    def test_stress_full_in_one_unit_and_as_printed_in_two(self) -> None:
        X = quadratic(self.x)[0]
        fit = least_squares(X, self.stress)
        coded = [7.790039991, 0.735932676, 0.4968628623, -0.5287277041, -0.1187277041, 0.06943066852]
        assert fit.coef == pytest.approx(coded, abs=1e-5)
        assert fit.r_squared == pytest.approx(0.9917505179, abs=1e-6)
        # The handbook's printed table codes the ratio in the linear and product terms, but not in its square.
        X[:, 4] = numbers(self.table, "ratio") ** 2
        mixed = least_squares(X, self.stress)
        assert mixed.coef[[0, 2, 4]] == pytest.approx([8.056790859, 0.8520986594, -0.007413851626], abs=1e-5)

    @pytest.mark.parametrize(
        ("outcome", "stationary", "eigenvalues", "nature"),
        [
            ("uniformity", [0.08813743701, 1.118566171], [0.9283015183, -0.7608345513], "saddle"),
            ("stress", [0.8496447507, 2.340878523], [-0.1158090796, -0.5316463287], "maximum"),
        ],
    )
    def test_canonical_forms(
        self, outcome: str, stationary: list[float], eigenvalues: list[float], nature: str
    ) -> None:
        X, powers = quadratic(self.x)
        fit = least_squares(X, numbers(self.table, outcome))
        form = canonical_surface(fit.coef, fit.covariance, powers, fit.df)
        assert form.stationary == pytest.approx(stationary, abs=1e-4)
        assert form.eigenvalues == pytest.approx(eigenvalues, abs=1e-5)
        assert form.nature == nature

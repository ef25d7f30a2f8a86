"""Published regressions: effects, analysis of variance, lack of fit, curvature, mixtures."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from measured_data import model, numbers, read, sum_contrasts
from scipy.optimize import minimize_scalar

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.least_squares import (
    FTest,
    LinearFit,
    curvature,
    lack_of_fit,
    least_squares,
    sequential_anova,
)

FACTORS = ["h", "s", "b", "l", "e"]


def named(fit: LinearFit) -> dict[str, float]:
    return dict(zip(fit.names, fit.coef, strict=True))


class TestCatapult:
    """2^(5-1) with four centre points: NIST/SEMATECH e-Handbook of Statistical Methods, section 5.4.7.2.

    All numbers printed there, except those of the curvature check, which are recomputed.
    """

    table = read("catapult")
    x, y = numbers(table, *FACTORS), numbers(table, "distance")

    def fit(self, pairs: list[str], y: np.ndarray) -> LinearFit:
        columns = [np.ones(20), *self.x.T] + [
            self.x[:, FACTORS.index(a)] * self.x[:, FACTORS.index(b)] for a, b in pairs
        ]
        return least_squares(np.column_stack(columns), y, level=0.95, names=["1", *FACTORS, *pairs])

    def test_full_model(self) -> None:
        fit = self.fit(["".join(pair) for pair in combinations(FACTORS, 2)], self.y)
        coef = named(fit)
        printed = {
            "1": 57.5375, "h": 13.4844, "s": -11.0781, "b": 19.4125, "l": 20.1406, "e": 12.0469,
            "hs": -2.7656, "hb": 4.6406, "hl": 4.7031, "he": 0.1094, "sb": -3.1719, "sl": -1.1094, "se": 2.6719,
            "bl": 7.6094, "be": 2.8281, "le": 3.1406,
        }  # fmt: skip
        assert coef == pytest.approx(printed, abs=6e-5)
        se = dict(zip(fit.names, fit.se, strict=True))
        assert se["h"] == pytest.approx(3.319601027, abs=4e-6)
        assert se["b"] == pytest.approx(2.969141422, abs=4e-6)
        assert fit.sigma == pytest.approx(13.27840411, abs=2e-5)
        assert fit.r_squared == pytest.approx(0.9709235817, abs=1e-6)
        assert fit.adjusted_r_squared == pytest.approx(0.8618870133, abs=1e-6)
        assert fit.overall.statistic == pytest.approx(8.904568398, abs=1e-5)
        assert fit.overall.p_value == pytest.approx(0.02374957597, abs=1e-7)
        assert fit.p_values[fit.names.index("bl")] == pytest.approx(0.0836489862, abs=1e-7)

    def test_reduced_model_and_its_lack_of_fit(self) -> None:
        fit = self.fit(["bl"], self.y)
        assert fit.se[1] == pytest.approx(3.182725851, abs=4e-6)
        assert fit.sigma == pytest.approx(12.7309034, abs=2e-5)
        assert fit.r_squared == pytest.approx(0.9131337745, abs=1e-6)
        assert fit.sse == pytest.approx(2106.986719, abs=0.002)
        test = lack_of_fit(fit, self.y, self.x)
        assert (test.df_lack, test.df_pure) == (11, 2)
        assert test.ss_lack == pytest.approx(1973.736719, abs=0.002)
        assert test.ss_pure == pytest.approx(133.25, abs=1e-4)
        assert test.statistic == pytest.approx(2.693142376, abs=3e-6)
        assert test.p_value == pytest.approx(0.3018466532, abs=3e-7)

    def test_log_distance(self) -> None:
        y = np.log(self.y)
        fit = self.fit([], y)
        printed = [3.857023371, 0.2573517796, -0.241744841, 0.3488009143, 0.3943654334, 0.262729069]
        assert fit.coef == pytest.approx(printed, abs=5e-7)
        assert fit.sigma == pytest.approx(0.2102650941, abs=3e-7)
        assert fit.r_squared == pytest.approx(0.9283589852, abs=1e-6)
        test = lack_of_fit(fit, y, self.x)
        assert test.statistic == pytest.approx(3.370953225, abs=4e-6)
        assert test.p_value == pytest.approx(0.251400807, abs=3e-7)

    def test_curvature_by_an_indicator_of_the_centre(self) -> None:
        centre = (self.x[:, 0] == 0).astype(float)
        columns = [np.ones(20), *self.x.T, self.x[:, 2] * self.x[:, 3], centre]
        fit = least_squares(np.column_stack(columns), self.y)
        assert fit.coef[-1] == pytest.approx(11.203125, abs=2e-5)
        assert fit.t[-1] == pytest.approx(1.681115043, abs=2e-6)
        assert fit.p_values[-1] == pytest.approx(0.1185608839, abs=2e-7)


class TestPeas:
    """2^3 in six blocks of four: data npk of the R package MASS (Imperial College field experiment on peas).

    Venables and Ripley (2002), Modern Applied Statistics with S, 4th ed. Numbers printed in the reference output of
    the package; effects as differences of means are recomputed.
    """

    table = read("npk_blocks")
    y = numbers(table, "yield")
    n, p, k = 2 * numbers(table, "N", "P", "K").T - 1
    X, terms = model(block=sum_contrasts(table["block"]), N=n, P=p, K=k, **{"N:P": n * p, "N:K": n * k, "P:K": p * k})

    @pytest.mark.parametrize(
        ("name", "ss", "f", "p_value"),
        [
            ("block", 343.295, 4.446666427, 0.01593879021),
            ("N", 189.2816667, 12.25873421, 0.004371811826),
            ("P", 8.401666667, 0.5441298169, 0.4749040927),
            ("K", 95.20166667, 6.165689202, 0.0287950535),
            ("N:P", 21.28166667, 1.378296693, 0.2631652829),
            ("N:K", 33.135, 2.145972007, 0.1686478785),
            ("P:K", 0.4816666667, 0.03119490519, 0.8627520857),
        ],
    )
    def test_analysis_of_variance_in_order_and_given_the_rest(
        self, name: str, ss: float, f: float, p_value: float
    ) -> None:
        in_order = {test.name: test for test in sequential_anova(self.X, self.y, self.terms)}[name]
        given_rest = {test.name: test for test in least_squares(self.X, self.y).term_tests(self.terms)}[name]
        # Orthogonal columns: both ways give the same.
        for test in (in_order, given_rest):
            assert isinstance(test, FTest)
            assert test.ss == pytest.approx(ss, rel=2e-6)
            assert test.statistic == pytest.approx(f, rel=2e-6)
            assert test.p_value == pytest.approx(p_value, rel=2e-6)

    def test_residual_and_effects(self) -> None:
        fit = least_squares(self.X, self.y)
        assert fit.df == 12
        assert fit.sse == pytest.approx(185.2866667, abs=2e-4)
        assert fit.sigma == pytest.approx(3.929447233, abs=4e-6)
        effects = 2 * fit.coef[[self.terms[name][0] for name in ("N", "P", "K", "N:P", "N:K", "P:K")]]
        assert effects == pytest.approx([5.616666667, -1.183333333, -3.983333333, -1.883333333, -2.35, 0.2833333333])

    def test_three_factor_product_is_lost_to_blocks(self) -> None:
        with pytest.raises(Inestimable) as caught:
            least_squares(
                np.column_stack([np.ones(24), self.n * self.p * self.k]),
                self.y,
                names=["constant", "N*P*K"],
                blocks=self.table["block"],
            )
        assert "N*P*K" in caught.value.terms
        assert any(term.startswith("block") for term in caught.value.terms)

    def test_two_term_model(self) -> None:
        X = np.column_stack([np.ones(24), numbers(self.table, "N"), numbers(self.table, "K")])
        fit = least_squares(X, self.y, blocks=self.table["block"])
        assert fit.coef[1:3] == pytest.approx([5.616666667, -3.983333333])
        assert fit.se[1:3] == pytest.approx([1.609175082, 1.609175082], abs=2e-6)
        assert fit.sigma == pytest.approx(3.941657858, abs=4e-6)
        assert fit.r_squared == pytest.approx(0.7163434566, abs=1e-6)


class TestStageOne:
    """2^2 with three centre points: Box, Hunter and Hunter (1978), Statistics for Experimenters, p. 514.

    Data from the public-domain file BOXYIELD.DAT of the NIST Statistical Engineering Division. Coefficients and the
    difference remembered, tests recomputed.
    """

    table = read("curvature_stage_one")
    x, y = numbers(table, "x1", "x2"), numbers(table, "y")
    centre = (x == 0).all(axis=1)

    def test_plane_and_product(self) -> None:
        X = np.column_stack([np.ones(7), self.x])
        fit = least_squares(X, self.y)
        assert fit.coef == pytest.approx([62.01428571, 2.35, 4.5])
        assert fit.coef[2] / fit.coef[1] == pytest.approx(1.914893617)
        product = least_squares(np.column_stack([X, self.x[:, 0] * self.x[:, 1]]), self.y)
        assert product.coef[3] == pytest.approx(-0.65)
        test = lack_of_fit(fit, self.y, self.x)
        assert (test.df_pure, test.pure_sigma) == (2, pytest.approx(2.0))
        assert test.df_lack == 2
        assert [test.ss_lack, test.statistic, test.p_value] == pytest.approx([2.118571429, 0.2648214286, 0.7906254412])

    def test_curvature(self) -> None:
        found = curvature(self.y, self.centre, self.x, level=0.95)
        assert [found.estimate, found.se, found.t, found.p_value] == pytest.approx(
            [-0.5, 1.527525232, -0.3273268354, 0.7745061916]
        )
        assert found.df == 2
        assert found.t**2 == pytest.approx(0.1071428571)
        pure = lack_of_fit(least_squares(np.column_stack([np.ones(7), self.x]), self.y), self.y, self.x)
        assert found.t**2 * pure.pure_sigma**2 == pytest.approx(0.4285714286)  # its sum of squares
        assert found.low < found.estimate < found.high


class TestYarn:
    """Simplex lattice with repeats: Cornell (2002), Experiments with Mixtures, 3rd ed.; e-Handbook section 5.5.4.2.

    Data seen in the R package HoRM. Equation, standard errors and sums of squares remembered, the rest recomputed.
    """

    table = read("yarn_elongation")
    x, y = numbers(table, "x1", "x2", "x3"), numbers(table, "y")
    pairs = np.column_stack([x[:, 0] * x[:, 1], x[:, 0] * x[:, 2], x[:, 1] * x[:, 2]])

    def test_quadratic_blend(self) -> None:
        fit = least_squares(np.hstack([self.x, self.pairs]), self.y)
        assert fit.coef == pytest.approx([11.7, 9.4, 16.4, 19.0, 11.4, -9.6])
        assert fit.se[[0, 3]] == pytest.approx([0.6036923425, 2.608249022])
        assert fit.df == 9
        assert [fit.sigma, fit.sse] == pytest.approx([0.8537498983, 6.56])
        # Shares that add up to one make a constant, so R squared is about the mean.
        assert fit.has_constant
        assert fit.overall.ss == pytest.approx(128.296)
        assert fit.overall.statistic == pytest.approx(35.20317073)
        assert [fit.r_squared, fit.adjusted_r_squared] == pytest.approx([0.95135552, 0.9243308088])
        assert 1 - fit.sse / np.sum(self.y**2) == pytest.approx(0.9977260358)

    def test_products_beyond_the_linear_blend(self) -> None:
        fit = least_squares(np.hstack([self.x, self.pairs]), self.y)
        (test,) = fit.term_tests({"products": [3, 4, 5]})
        assert [test.statistic, test.p_value] == pytest.approx([32.31718404, 3.786480999e-05])
        assert least_squares(self.x, self.y).sse == pytest.approx(77.22690909)

    def test_best_blend_on_the_edge_without_the_second(self) -> None:
        fit = least_squares(np.hstack([self.x, self.pairs]), self.y)

        def less(share: float) -> float:
            return -float(fit.predict([share, 0, 1 - share, 0, share * (1 - share), 0])[0][0])

        best = minimize_scalar(less, bounds=(0, 1), method="bounded", options={"xatol": 1e-8})
        assert best.x == pytest.approx(0.2938596491, abs=1e-5)
        assert -best.fun == pytest.approx(17.38442982, abs=1e-6)


class TestPesticide:
    """Simplex centroid, seven blends and seven coefficients.

    Cornell (1990), How to Run Mixture Experiments for Product Quality, p. 35; data of the public-domain file
    CORNEL35.DAT of the NIST Statistical Engineering Division. Coefficients recomputed, by hand as well:
    b_12 = 4 y_12 - 2 (y_1 + y_2), and so on.
    """

    table = read("pesticide_centroid")

    def fit(self) -> LinearFit:
        x = numbers(self.table, "x1", "x2", "x3")
        a, b, c = (x / x.sum(axis=1, keepdims=True)).T
        return least_squares(np.column_stack([a, b, c, a * b, a * c, b * c, a * b * c]), numbers(self.table, "y"))

    def test_special_cubic(self) -> None:
        assert self.fit().coef == pytest.approx([25.4, 28.6, 38.5, -94.4, 21.8, -91.4, -40.8], abs=1e-6)

    def test_a_saturated_fit_claims_no_certainty(self) -> None:
        fit = self.fit()
        assert fit.df == 0
        assert np.isnan(fit.sigma)
        assert np.isnan(fit.p_values).all()
        assert (fit.low == -np.inf).all()
        assert (fit.high == np.inf).all()

    def test_least_survival_lies_between_the_first_two(self) -> None:
        fit = self.fit()
        steps = np.arange(0, 1.0001, 0.02)
        grid = np.array([(a, b, 1 - a - b) for a in steps for b in steps if a + b <= 1 + 1e-9])
        a, b, c = grid.T
        survival = fit.predict(np.column_stack([a, b, c, a * b, a * c, b * c, a * b * c]))[0]
        assert grid[survival.argmin()] == pytest.approx([0.5169491525, 0.4830508475, 0.0], abs=0.02)
        share = 0.5169491525
        rest = 1 - share
        assert fit.predict([share, rest, 0, share * rest, 0, 0, 0])[0][0] == pytest.approx(3.372881356, abs=1e-6)

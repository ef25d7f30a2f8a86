"""Published proportional odds fits.

The program has cumulative logits alone. The published probit fits are found here with its model matrix of thresholds
and slopes and its Newton climber; only their likelihood is written beside the tests.
"""

from __future__ import annotations

import numpy as np
import pytest
from measured_data import Array, numbers, read
from scipy.special import ndtr

from meltdoe.fit.classical.grade_likelihood import climb_to_maximum, common_slopes
from meltdoe.fit.classical.ordered_logit import ordered_logit
from meltdoe.fit.classical.proportional_odds import proportional_odds_test


def cumulative_probit(X: Array, y: Array, n_grades: int, weights: Array) -> tuple[float, Array]:
    """Log likelihood at its maximum, and there the thresholds with the slopes behind them."""
    q = n_grades - 1
    Z = common_slopes(X, q)
    none = np.zeros((len(X), 1, Z.shape[2]))
    row = np.arange(len(X))

    def objective(parameters: Array) -> tuple[float, Array, Array]:
        eta = Z @ parameters
        chance = np.diff(ndtr(eta), axis=1, prepend=0.0, append=1.0)
        if not (chance > 0).all():
            return -np.inf, np.zeros(Z.shape[2]), np.eye(Z.shape[2])
        moved = np.concatenate([none, np.exp(-0.5 * eta**2)[..., None] / np.sqrt(2 * np.pi) * Z, none], axis=1)
        slope = np.diff(moved, axis=1)  # of each grade's chance in the parameters
        expected = np.einsum("i,ij,ijk,ijl->kl", weights, 1 / chance, slope, slope)
        gradient = (weights / chance[row, y]) @ slope[row, y]
        return float(weights @ np.log(chance[row, y])), gradient, expected

    found = climb_to_maximum(objective, np.concatenate([np.linspace(-1, 1, q), np.zeros(X.shape[1])]))
    assert found is not None
    return found


class TestWine:
    """Bitterness of wine on five grades: Randall (1989), Biometrical Journal 31, 781-793.

    Printed in the vignette of the R package ordinal (Christensen), sections 4.1-4.2; chances recomputed.
    """

    table = read("wine_bitterness")
    X = np.column_stack([np.array(table["temp"]) == "warm", np.array(table["contact"]) == "yes"]).astype(float)
    y = numbers(table, "rating").astype(int) - 1

    def test_estimates(self) -> None:
        fit = ordered_logit(self.X, self.y, 5, penalty="none")
        assert fit.coef == pytest.approx([2.503102008, 1.527797658], abs=1e-4)
        assert fit.se == pytest.approx([0.5286801008, 0.4766226296], abs=1e-4)
        assert fit.thresholds == pytest.approx([-1.344383411, 1.250808798, 3.466886926, 5.006404204], abs=1e-4)
        assert fit.threshold_se == pytest.approx([0.5171020453, 0.437880203, 0.5977604246, 0.7309063437], abs=1e-4)
        assert fit.loglik == pytest.approx(-86.49192337, abs=1e-4)
        assert fit.aic == pytest.approx(184.9838467, abs=1e-3)

    def test_profile_limits(self) -> None:
        fit = ordered_logit(self.X, self.y, 5, penalty="none", level=0.95)
        assert [fit.low[0], fit.high[0]] == pytest.approx([1.509762741, 3.595225164], abs=1e-3)
        assert [fit.low[1], fit.high[1]] == pytest.approx([0.6157924849, 2.492403788], abs=1e-3)

    def test_likelihood_ratios_of_one_factor_against_none(self) -> None:
        null = ordered_logit(self.X[:, :0], self.y, 5, penalty="none")
        assert null.aic == pytest.approx(215.4381524, abs=1e-3)
        for column, ratio in ((0, 23.41130136), (1, 7.526330544)):
            fit = ordered_logit(self.X[:, [column]], self.y, 5, penalty="none")
            assert 2 * (fit.loglik - null.loglik) == pytest.approx(ratio, abs=1e-3)

    def test_proportional_odds_for_contact(self) -> None:
        test = proportional_odds_test(self.X, self.y, 5, columns=[1])
        assert test.reason == ""
        assert test.df == 3
        assert test.statistic == pytest.approx(0.5667402684, abs=1e-3)

    def test_chances_of_each_grade(self) -> None:
        fit = ordered_logit(self.X, self.y, 5, penalty="none")
        recomputed = [
            [0.2067901324, 0.5706497043, 0.1922909373, 0.02361881639, 0.006650409639],
            [0.02088770934, 0.2014157164, 0.5015755428, 0.2004940237, 0.07562700777],
            [0.05354601026, 0.377646141, 0.4430599047, 0.0958208367, 0.02992710734],
            [0.004608273511, 0.05380128431, 0.3042099408, 0.3635958098, 0.2737846916],
        ]
        assert fit.probabilities([[0, 0], [1, 0], [0, 1], [1, 1]]) == pytest.approx(np.array(recomputed), abs=1e-5)

    def test_probit(self) -> None:
        loglik, estimate = cumulative_probit(self.X, self.y, 5, np.ones(len(self.y)))
        assert estimate[4:] == pytest.approx([1.499374578, 0.8677435389], abs=1e-4)  # recomputed
        assert loglik == pytest.approx(-85.76114836, abs=1e-4)  # recomputed

    def test_these_data_are_ample_for_maximum_likelihood(self) -> None:
        assert ordered_logit(self.X, self.y, 5).penalty == "none"


class TestHousing:
    """Satisfaction of 1681 tenants, counted: Madsen (1976), in Venables and Ripley (2002), section 7.3.

    Printed in the reference output of the function polr of the R package MASS.
    """

    table = read("housing_satisfaction")
    influence, kind, contact = (np.array(column) for column in (table["Infl"], table["Type"], table["Cont"]))
    X = np.column_stack(
        [
            influence == "Medium",
            influence == "High",
            kind == "Apartment",
            kind == "Atrium",
            kind == "Terrace",
            contact == "High",
        ]
    ).astype(float)
    y = np.array([["Low", "Medium", "High"].index(word) for word in table["Sat"]])
    counts = numbers(table, "Freq")

    def test_estimates(self) -> None:
        fit = ordered_logit(self.X, self.y, 3, weights=self.counts)
        coef = [0.5663937379, 1.28881911, -0.572350002, -0.3661863707, -1.091014659, 0.3602840046]
        se = [0.1046527814, 0.1271561446, 0.1192380086, 0.155173332, 0.1514860186, 0.095535795]
        assert fit.penalty == "none"
        assert fit.counts.sum() == 1681
        assert fit.coef == pytest.approx(coef, abs=1e-4)
        assert fit.se == pytest.approx(se, abs=1e-4)
        assert fit.thresholds == pytest.approx([-0.4961351382, 0.6907082593], abs=1e-4)
        assert fit.threshold_se == pytest.approx([0.1248472429, 0.1254719378], abs=1e-4)
        assert -2 * fit.loglik == pytest.approx(3479.149299, abs=0.01)
        assert fit.aic == pytest.approx(3495.149299, abs=0.01)
        chances = [[0.3784493062, 0.2876751647, 0.3338755291], [0.2568264404, 0.2742122348, 0.4689613248]]
        assert fit.probabilities(self.X[[0, 3]]) == pytest.approx(np.array(chances), abs=1e-5)

    def test_probit(self) -> None:
        loglik, estimate = cumulative_probit(self.X, self.y, 3, self.counts)
        assert estimate[2 + 1] == pytest.approx(0.7829141903, abs=1e-4)
        assert -2 * loglik == pytest.approx(3479.688843, abs=0.01)

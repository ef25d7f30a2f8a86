"""Penalised and plain logistic regression against published examples.

Numbers marked "print" were seen in the source named; "memory" were remembered as printed there; all others were
recomputed with R 4.2.2 (glm, brglm2 0.9, penalised profiles written out). Limits are 95 %.

The program fits pass/fail outcomes in log odds alone. Published probit and complementary log-log fits of the beetle
data are found here with its Newton climber, their likelihood written beside the test. The median bias reduced estimate
of the endometrial data (3.869 for NV, from memory) is of another method, which the program does not offer.
"""

from __future__ import annotations

import numpy as np
import pytest
from fit_data import table, with_ones
from scipy.special import chdtrc, expit, gammaln, ndtr

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.firth_logistic import firth, maximum_likelihood
from meltdoe.fit.classical.grade_likelihood import climb_to_maximum
from meltdoe.fit.classical.separation import separation


def deviance(y, n, p):
    """Binomial deviance."""
    parts = [np.where(a > 0, a * np.log(np.where(a > 0, a, 1) / b), 0.0) for a, b in ((y, n * p), (n - y, n - n * p))]
    return 2 * float(np.sum(parts))


# Chance of success and its derivative at a linear predictor.
LINKS = {
    "probit": (ndtr, lambda eta: np.exp(-0.5 * eta**2) / np.sqrt(2 * np.pi)),
    "cloglog": (lambda eta: -np.expm1(-np.exp(eta)), lambda eta: np.exp(eta - np.exp(eta))),
}


class TestBeetles:
    """Bliss (1935), Ann. Appl. Biol. 22, 134-167; estimates from memory of Dobson, An
    Introduction to Generalized Linear Models."""

    data = table("beetle_mortality")
    X = with_ones(data["logdose"])

    def test_plain_fit(self):
        fit = maximum_likelihood(self.X, self.data["killed"], 0.95, trials=self.data["n"])
        assert fit.coef == pytest.approx([-60.717, 34.270], abs=1e-3)  # memory
        assert fit.se == pytest.approx([5.181, 2.912], abs=1e-3)  # memory
        assert deviance(self.data["killed"], self.data["n"], fit.fitted) == pytest.approx(11.232, abs=1e-3)  # memory
        assert [fit.low[1], fit.high[1]] == pytest.approx([28.85402774, 40.30068902], abs=1e-2)
        half = -fit.coef[0] / fit.coef[1]
        assert half == pytest.approx(1.771720964, abs=1e-6)  # dose that kills half
        slope = -np.array([1.0, half]) / fit.coef[1]  # its derivatives in the coefficients (delta method)
        assert np.sqrt(slope @ fit.covariance @ slope) == pytest.approx(0.003858052075, abs=1e-6)
        assert 2 * (2 - self.loglik(fit.fitted)) == pytest.approx(41.43026931, abs=1e-4)  # Akaike's criterion
        assert self.data["n"] * fit.fitted == pytest.approx(
            [3.457461, 9.841672, 22.451378, 33.897635, 50.095822, 53.290913, 59.222159, 58.742961], abs=1e-3
        )

    def loglik(self, p):
        """Log likelihood with the number of ways in which the counts can come about."""
        y, n = self.data["killed"], self.data["n"]
        ways = gammaln(n + 1) - gammaln(y + 1) - gammaln(n - y + 1)
        return float(np.sum(ways + y * np.log(p) + (n - y) * np.log1p(-p)))

    @pytest.mark.parametrize(
        ("link", "coef", "se", "of_deviance", "aic"),
        [
            ("probit", [-34.935, 19.728], [2.648, 1.487], 10.120, 40.31779633),  # memory, the last recomputed
            ("cloglog", [-39.572, 22.041], [3.240, 1.799], 3.446, 33.64447695),
        ],
    )
    def test_other_links_by_the_same_climb(self, link, coef, se, of_deviance, aic):
        y, n = self.data["killed"], self.data["n"]
        chance, rise = LINKS[link]

        def objective(beta):
            p, slope = chance(self.X @ beta), rise(self.X @ beta)
            if not ((p > 0) & (p < 1)).all():
                return -np.inf, np.zeros(2), np.eye(2)
            weight = slope / (p * (1 - p))
            return (
                self.loglik(p),
                self.X.T @ (weight * (y - n * p)),
                self.X.T @ ((n * weight * slope)[:, None] * self.X),
            )

        top, beta = climb_to_maximum(objective, maximum_likelihood(self.X, y, trials=n).coef / 1.7)
        assert beta == pytest.approx(coef, abs=1e-3)
        assert np.sqrt(np.diag(np.linalg.inv(objective(beta)[2]))) == pytest.approx(se, abs=1e-3)
        assert deviance(y, n, chance(self.X @ beta)) == pytest.approx(of_deviance, abs=1e-3)
        assert 2 * (2 - top) == pytest.approx(aic, abs=1e-4)

    def test_spread_of_counts_about_the_plain_fit_and_about_one_chance_for_all(self):
        killed, n = self.data["killed"], self.data["n"]
        p = maximum_likelihood(self.X, killed, trials=n).fitted
        assert np.sum((killed - n * p) ** 2 / (n * p * (1 - p))) == pytest.approx(10.02681759, abs=1e-4)
        constant = maximum_likelihood(np.ones((8, 1)), killed, trials=n)
        assert deviance(killed, n, constant.fitted) == pytest.approx(284.2024495, abs=1e-4)

    def test_penalised_fit(self):
        fit = firth(self.X, self.data["killed"], trials=self.data["n"])
        assert fit.coef == pytest.approx([-60.11377132, 33.93013045], abs=1e-3)


class TestORings:
    """Dalal, Fowlkes & Hoadley (1989), J. Amer. Statist. Assoc. 84, 945-957, table 1; plain estimates from memory."""

    data = table("o_rings")
    X = with_ones(data["temp"])

    def test_plain_fit(self):
        fit = maximum_likelihood(self.X, self.data["fail"], 0.95)
        assert fit.coef == pytest.approx([15.0429, -0.2322], abs=1e-4)  # memory
        assert fit.se[0] == pytest.approx(7.3786, abs=1e-3)  # memory
        assert fit.se[1] == pytest.approx(0.1082364295, abs=1e-5)
        assert deviance(self.data["fail"], np.ones(23), fit.fitted) == pytest.approx(20.315, abs=1e-3)  # memory
        assert [fit.low[1], fit.high[1]] == pytest.approx([-0.5154717528, -0.06082076162], abs=1e-3)
        constant = maximum_likelihood(np.ones((23, 1)), self.data["fail"])
        assert deviance(self.data["fail"], np.ones(23), constant.fitted) == pytest.approx(28.267, abs=1e-3)  # memory
        assert -fit.coef[0] / fit.coef[1] == pytest.approx(64.79464092, abs=1e-4)
        # 31 degrees lie far outside the data: what the line says there, not what is known.
        chances = expit(with_ones(np.array([31.0, 65.0, 70.0])) @ fit.coef)
        assert chances == pytest.approx([0.9996087829, 0.4880830756, 0.2299682578], abs=1e-6)

    def test_damaged_rings_out_of_six(self):
        fit = maximum_likelihood(self.X, self.data["damaged"], trials=np.full(23, 6))
        assert fit.coef == pytest.approx([5.085, -0.1156], abs=1e-3)  # memory
        assert deviance(self.data["damaged"], np.full(23, 6.0), fit.fitted) == pytest.approx(18.086, abs=1e-3)  # memory
        assert expit(fit.coef @ [1, 31]) == pytest.approx(0.8177744062, abs=1e-5)

    def test_penalised_fit(self):
        fit = firth(self.X, self.data["fail"], 0.95)
        assert fit.coef[0] == pytest.approx(11.94951513, abs=1e-3)
        assert fit.coef[1] == pytest.approx(-0.1860419155, abs=1e-5)
        assert fit.se[1] == pytest.approx(0.09158226313, abs=1e-5)
        assert [fit.low[1], fit.high[1]] == pytest.approx([-0.4195328122, -0.04052852673], abs=1e-4)
        assert fit.chi_squares[1] == pytest.approx(6.764497279, abs=1e-3)
        assert fit.p_values[1] == pytest.approx(0.009298911573, abs=1e-4)


class TestEndometrialCancer:
    """79 women, Heinze & Schemper (2002), Stat. Med. 21, 2409-2419: quasi-complete separation.

    Estimates and errors seen in print (vignette of the R package detectseparation); profile limits from memory of
    Heinze & Schemper.
    """

    data = table("endometrial")
    X = with_ones(data["NV"], data["PI"], data["EH"])
    names = ("constant", "NV", "PI", "EH")

    def test_separation_is_found_and_named(self):
        found = separation(self.X, self.data["HG"], names=self.names)
        assert found.kind == "quasi-complete"
        assert found.infinite_terms == found.terms == found.alone == ("NV",)
        assert found.direction == pytest.approx([0, 1, 0, 0])
        assert np.array_equal(~found.boundary, self.data["NV"] == 1)
        assert (~found.boundary).sum() == 13

    def test_plain_fit_refuses_and_its_limit_is_the_fit_without_the_separated_women(self):
        with pytest.raises(Inestimable) as caught:
            maximum_likelihood(self.X, self.data["HG"], names=self.names)
        assert caught.value.terms == ("NV",)
        stay = separation(self.X, self.data["HG"]).boundary
        fit = maximum_likelihood(self.X[stay][:, [0, 2, 3]], self.data["HG"][stay])
        assert fit.coef == pytest.approx([4.30452, -0.04218, -2.90261], abs=1e-4)  # print
        assert deviance(self.data["HG"][stay], np.ones(stay.sum()), fit.fitted) == pytest.approx(
            55.393, abs=1e-3
        )  # print

        constant = maximum_likelihood(np.ones((79, 1)), self.data["HG"])
        assert deviance(self.data["HG"], np.ones(79), constant.fitted) == pytest.approx(104.903, abs=1e-3)  # print
        assert self.data["HG"].sum() == 30

    def test_penalised_fit(self):
        fit = firth(self.X, self.data["HG"], 0.95, names=self.names)
        assert fit.coef == pytest.approx([3.77456, 2.92927, -0.03475, -2.60416], abs=1e-4)  # print
        assert fit.se == pytest.approx([1.48869, 1.55076, 0.03958, 0.77602], abs=1e-4)  # print
        assert fit.low[1:] == pytest.approx([0.6097, -0.1245, -4.3652], abs=1e-3)  # memory
        assert fit.high[1:] == pytest.approx([7.8546, 0.0405, -1.2327], abs=1e-3)  # memory
        assert fit.p_values[1:3] == pytest.approx([0.0091, 0.3874822036], abs=1e-4)  # first: memory
        assert fit.p_values[3] == pytest.approx(2.506867215e-05, abs=1e-6)
        wald = chdtrc(1, (fit.coef[1] / fit.se[1]) ** 2)
        assert wald == pytest.approx(0.058902, abs=1e-4)  # print: misses what the likelihood ratio sees
        assert fit.chi_squares[1] == pytest.approx(6.798457249, abs=1e-3)
        assert fit.loglik == pytest.approx(-24.0372678, abs=1e-4)
        assert deviance(self.data["HG"], np.ones(79), fit.fitted) == pytest.approx(56.575, abs=1e-3)  # print


class TestUrinaryInfection:
    """239 women, data set sexagg of the R package logistf (Heinze & Ploner): six binary factors, one separating.

    Estimates, errors and limits seen in print in the documentation of the Python package firthlogist; p-values from
    memory of logistf (the printed table's p-values follow another definition of the test).
    """

    data = table("urinary_infection")
    terms = ("age", "oc", "vic", "vicl", "vis", "dia")
    X = with_ones(*map(data.__getitem__, terms))
    names = ("constant", *terms)

    def test_separation(self):
        found = separation(self.X, self.data["case"] * self.data["COUNT"], trials=self.data["COUNT"], names=self.names)
        assert found.kind == "quasi-complete"
        assert found.infinite_terms == ("dia",)

    def test_penalised_fit(self):
        fit = firth(self.X, self.data["case"] * self.data["COUNT"], 0.95, trials=self.data["COUNT"])
        coef = [0.120254, -1.10598, -0.0688167, 2.26887, -2.11141, -0.788317, 3.09601]
        assert fit.coef == pytest.approx(coef, abs=1e-4)  # print
        se = [0.485542, 0.42366, 0.443793, 0.548416, 0.543082, 0.417368, 1.67501]
        assert fit.se == pytest.approx(se, abs=1e-4)  # print
        low = [-0.818559, -1.97379, -0.941436, 1.27304, -3.26086, -1.60809, 0.774568]
        assert fit.low == pytest.approx(low, abs=1e-3)  # print
        high = [1.07315, -0.307427, 0.789202, 3.43543, -1.11774, 0.0151846, 8.03028]
        assert fit.high == pytest.approx(high, abs=1e-3)  # print
        p_values = [0.006143472, 0.8751911, 1.678877e-06, 1.237805e-05, 0.05449700806, 0.004951873]
        assert fit.p_values[1:] == pytest.approx(p_values, rel=1e-3)  # memory, but the fifth
        assert fit.loglik == pytest.approx(-132.5394, abs=1e-3)  # print

    def test_a_reduced_model_with_its_own_penalty_is_another_test(self):
        """Its p-value for vis is under 0.05 where that with the full model's penalty is above: never mix the two."""
        passes, trials = self.data["case"] * self.data["COUNT"], self.data["COUNT"]
        full, reduced = firth(self.X, passes, trials=trials), firth(np.delete(self.X, 5, axis=1), passes, trials=trials)
        assert chdtrc(1, 2 * (full.loglik - reduced.loglik)) == pytest.approx(0.01952957054, abs=1e-4)
        assert full.p_values[5] == pytest.approx(0.05449700806, abs=1e-4)


CLOSED_FORM = {
    # passes of melts at x = 1, then at x = 0: slope, its error, its limits, its p-value (limits recomputed)
    (5, 5, 1, 5): (-1.098612289, 3.496507561, 1.919595917, 0.6420889677, 8.613924445, 0.01343746562),
    (4, 4, 0, 4): (-2.197224577, 4.394449155, 2.357022604, 1.050411104, 10.22293551, 0.0066643179),
    (7, 10, 2, 10): (-1.223775432, 1.985915484, 1.015068542, 0.1949667538, 4.073423475, 0.02905285084),
    (3, 3, 3, 3): (1.945910149, 0.0, 2.468853599, -5.358608884, 5.358608884, 1.0),
}


class TestClosedForm:
    """Saturated tables: Firth (1993), section 3.3, is the half added to each cell of Haldane and Anscombe (memory)."""

    @pytest.mark.parametrize("counts", CLOSED_FORM)
    def test_two_groups(self, counts):
        a, n, b, m = counts
        b0, b1, se1, low, high, p_value = CLOSED_FORM[counts]
        fit = firth([[1, 1], [1, 0]], [a, b], 0.95, trials=[n, m])
        assert b0 == pytest.approx(np.log((b + 0.5) / (m - b + 0.5)), abs=1e-8)
        assert fit.coef == pytest.approx([b0, b1], abs=1e-6)
        assert fit.se[1] == pytest.approx(se1, abs=1e-5)
        assert [fit.low[1], fit.high[1]] == pytest.approx([low, high], abs=1e-3)
        assert fit.p_values[1] == pytest.approx(p_value, abs=1e-4)

    @pytest.mark.parametrize(("passes", "melts"), [(0, 6), (6, 6), (3, 8)])
    def test_one_group(self, passes, melts):
        fit = firth(np.ones((1, 1)), [passes], trials=[melts])
        assert fit.coef[0] == pytest.approx(np.log((passes + 0.5) / (melts - passes + 0.5)), abs=1e-8)
        assert fit.fitted[0] == pytest.approx((passes + 0.5) / (melts + 1), abs=1e-8)

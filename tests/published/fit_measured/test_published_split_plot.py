"""Published split plots: components, strata, Kenward-Roger tests, and what an analysis without firings would claim."""

from __future__ import annotations

import numpy as np
import pytest
from measured_data import model, numbers, products, read, sum_contrasts

from meltdoe.fit.classical.least_squares import least_squares, sequential_anova
from meltdoe.fit.classical.split_plot_reml import split_plot


class TestOats:
    """Yates (1935), J. R. Statist. Soc. Suppl. 2, 181-247: nitrogen on sub-plots, varieties on whole plots, 6 blocks.

    Strata printed in the reference output of the R package MASS (data set oats; Venables and Ripley 2002, section
    10.2); the linear and additive models in the chapter 1 script of the R package nlme (Pinheiro and Bates 2000,
    Mixed-Effects Models in S and S-PLUS, section 1.6). Components of the full model remembered from there. Recomputed
    with lme4, lmerTest and pbkrtest; the degrees of freedom of the intercept and the plain analysis only so.
    """

    table = read("oats_split_plot")
    y, nitro = numbers(table, "y"), numbers(table, "nitro")
    n, v = sum_contrasts(table["nitro"]), sum_contrasts(table["variety"])

    def test_full_model(self) -> None:
        X, terms = model(nitro=self.n, variety=self.v, both=products(self.n, self.v))
        fit = split_plot(X, self.y, self.table["variety"], blocks=self.table["block"])
        assert list(fit.components) == ["block", "firing", "residual"]
        assert list(fit.components.values()) == pytest.approx([214.477106, 106.0617976, 177.0833339], abs=0.001)
        tests = fit.term_tests(terms)
        assert [tests[name].df_error for name in terms] == pytest.approx([45, 10, 45])
        assert [tests[name].statistic for name in terms] == pytest.approx([37.68564706, 1.485340379, 0.3028235294])
        assert tests["variety"].p_value == pytest.approx(0.2723868567, abs=1e-6)
        assert tests["both"].p_value == pytest.approx(0.932198759, abs=1e-6)

    def test_components_follow_from_the_printed_strata(self) -> None:
        """Balanced data: mean squares are s_e, s_e + 4 s_plot and s_e + 4 s_plot + 12 s_block in expectation."""
        X, _ = model(nitro=self.n, variety=self.v, both=products(self.n, self.v))
        fit = split_plot(X, self.y, self.table["variety"], blocks=self.table["block"])
        block, plot, residual = fit.components.values()
        assert residual == pytest.approx(177.0833333, abs=1e-4)
        assert residual + 4 * plot == pytest.approx(6013.305556 / 10, abs=1e-4)
        assert residual + 4 * plot + 12 * block == pytest.approx(15875.27778 / 5, abs=1e-3)

    def test_sums_of_squares_as_printed(self) -> None:
        block = sum_contrasts(self.table["block"])
        both = products(self.n, self.v)
        X, terms = model(block=block, variety=self.v, plots=products(block, self.v), nitro=self.n, both=both)
        found = {test.name: test.ss for test in sequential_anova(X, self.y, terms)}
        assert found["block"] == pytest.approx(15875.27778)
        assert found["variety"] == pytest.approx(1786.361111)
        assert found["plots"] == pytest.approx(6013.305556)
        assert found["nitro"] == pytest.approx(20020.5)

    def test_linear_model(self) -> None:
        X = np.column_stack([np.ones(72), self.nitro])
        fit = split_plot(X, self.y, self.table["variety"], blocks=self.table["block"])
        assert list(fit.components.values()) == pytest.approx([210.4236101, 121.1034326, 165.5584907], abs=0.001)
        assert fit.coef == pytest.approx([81.87222222, 73.66666667], abs=1e-6)
        assert fit.se == pytest.approx([6.945282997, 6.7814799], abs=1e-5)
        assert fit.df == pytest.approx([5.977661915, 53.0], abs=1e-4)
        assert fit.loglik == pytest.approx(-296.5208767, abs=1e-4)

    def test_additive_model(self) -> None:
        X, terms = model(nitro=self.n, variety=self.v)
        fit = split_plot(X, self.y, self.table["variety"], blocks=self.table["block"])
        tests = fit.term_tests(terms)
        assert [tests[name].statistic for name in terms] == pytest.approx([41.0528314, 1.485340381], abs=1e-5)
        assert [tests[name].df_error for name in terms] == pytest.approx([51, 10])
        difference = np.zeros(6)
        difference[terms["variety"]] = [1, -1]
        _, se, df, _, _ = fit.estimate(difference)
        assert se[0] == pytest.approx(7.078903841, abs=1e-5)
        assert df[0] == pytest.approx(10)

    def test_blocks_may_also_be_named_among_the_groups(self) -> None:
        X, _ = model(nitro=self.n, variety=self.v)
        plots = [f"{b} {v}" for b, v in zip(self.table["block"], self.table["variety"], strict=True)]
        nested = split_plot(X, self.y, self.table["variety"], blocks=self.table["block"])
        named = split_plot(X, self.y, {"block": self.table["block"], "firing": plots})
        assert named.se == pytest.approx(nested.se)

    def test_ignoring_whole_plots_claims_what_is_not_shown(self) -> None:
        X, terms = model(
            block=sum_contrasts(self.table["block"]), nitro=self.n, variety=self.v, both=products(self.n, self.v)
        )
        test = {test.name: test for test in least_squares(X, self.y).term_tests(terms)}["variety"]
        assert test.statistic == pytest.approx(3.513426932, abs=1e-6)
        assert test.p_value == pytest.approx(0.03664635154, abs=1e-7)


class TestCorrosion:
    """Furnace heats as whole plots, coatings as sub-plots: Box (1996), Quality Engineering 8, 515-520.

    Also Box, Hunter and Hunter (2005), Statistics for Experimenters, 2nd ed., section 9.3. Data seen in a university
    course page that cites the article; mean squares of error and tests remembered, the rest recomputed.
    """

    table = read("corrosion_split_plot")
    y = numbers(table, "y")
    t, c = sum_contrasts(table["temp"]), sum_contrasts(table["coat"])
    X, terms = model(temperature=t, coating=c, both=products(t, c))

    def test_tests_and_components(self) -> None:
        fit = split_plot(self.X, self.y, self.table["heat"])
        assert list(fit.components.values()) == pytest.approx([1172.166631, 124.5416679], abs=0.001)
        tests = fit.term_tests(self.terms)
        assert [tests[name].statistic for name in self.terms] == pytest.approx([2.754841279, 11.47975912, 4.37571094])
        assert [tests[name].df_error for name in self.terms] == pytest.approx([3, 9, 9])
        p_values = [0.2093205382, 0.001976919918, 0.02406643891]
        assert [tests[name].p_value for name in self.terms] == pytest.approx(p_values, abs=1e-7)

    def test_strata_by_least_squares(self) -> None:
        """Mean squares from the two error strata, with heats within temperatures entered as columns."""
        heats = sum_contrasts(self.table["heat"])
        inside = heats - least_squares_projection(np.column_stack([np.ones(24), self.t]), heats)
        basis = np.linalg.svd(inside, full_matrices=False)[0][:, :3]
        X, terms = model(temperature=self.t, heats=basis, coating=self.c, both=products(self.t, self.c))
        mean_squares = {test.name: test.ss / test.df for test in sequential_anova(X, self.y, terms)}
        assert mean_squares == pytest.approx(
            {"temperature": 13259.625, "heats": 4813.208333, "coating": 1429.708333, "both": 544.9583333}
        )
        assert least_squares(X, self.y).sigma ** 2 == pytest.approx(124.5416667)

    def test_coating_means(self) -> None:
        fit = split_plot(self.X, self.y, self.table["heat"])
        rows = np.zeros((4, 12))
        rows[:, 0] = 1
        rows[:, self.terms["coating"]] = self.c[:4]
        assert fit.estimate(rows)[0] == pytest.approx([94.66666667, 90.16666667, 95.66666667, 124])

    def test_as_if_every_bar_had_its_own_heat(self) -> None:
        tests = {test.name: test for test in least_squares(self.X, self.y).term_tests(self.terms)}
        assert tests["temperature"].statistic == pytest.approx(10.22560329, abs=1e-6)
        assert tests["temperature"].p_value == pytest.approx(0.00255683311, abs=1e-8)
        assert tests["coating"].p_value == pytest.approx(0.3860158102, abs=1e-7)


def least_squares_projection(X: np.ndarray, columns: np.ndarray) -> np.ndarray:
    return X @ np.linalg.lstsq(X, columns, rcond=None)[0]


class TestStroup:
    """Small split plot with random blocks: Stroup (1989), Predictable functions and prediction space, p. 41.

    Components and means as recorded in the R package agridat (data set stroup.splitplot), from another program that
    differs in the third or fourth digit; recomputed with lme4, lmerTest, pbkrtest and emmeans.
    """

    table = read("stroup_split_plot")
    y = numbers(table, "y")
    a, b = sum_contrasts(table["a"]), sum_contrasts(table["b"])
    X, terms = model(a=a, b=b, ab=products(a, b))

    def test_components(self) -> None:
        fit = split_plot(self.X, self.y, self.table["a"], blocks=self.table["rep"])
        components = list(fit.components.values())
        assert components == pytest.approx([62.3958292, 15.38194422, 9.361111335], abs=1e-4)
        assert components == pytest.approx([62.42, 15.39, 9.364], abs=0.03)

    def test_means_of_whole_plot_treatments(self) -> None:
        fit = split_plot(self.X, self.y, self.table["a"], blocks=self.table["rep"])
        rows = np.zeros((3, 6))
        rows[:, 0] = 1
        rows[:, self.terms["a"]] = self.a[:3]
        value, se, df, low, high = fit.estimate(rows)
        assert value == pytest.approx([32.875, 34.125, 25.75])
        assert se == pytest.approx([4.540328432] * 3, abs=1e-5)
        assert df == pytest.approx([4.195460887] * 3, abs=1e-4)
        assert (low < value).all()
        assert (value < high).all()

    def test_terms(self) -> None:
        tests = split_plot(self.X, self.y, self.table["a"], blocks=self.table["rep"]).term_tests(self.terms)
        assert [tests[name].statistic for name in self.terms] == pytest.approx(
            [4.06957427, 19.38872551, 4.019287738], abs=1e-4
        )
        assert [tests[name].df_error for name in self.terms] == pytest.approx([6, 9, 9])
        p_values = [0.07641594358, 0.001712248138, 0.05657720928]
        assert [tests[name].p_value for name in self.terms] == pytest.approx(p_values, abs=1e-7)


class TestZeroComponent:
    """Ten unbalanced rows with a random factor of two levels whose variance is estimated as zero.

    Kuznetsova, Brockhoff and Christensen (2017), J. Stat. Softw. 82(13): F values printed in that package's tests as
    those of an independent mixed-model program; component, residual and degrees of freedom recomputed.
    """

    a = np.array([1, 1, 1, 2, 2, 2, 2, 2, 1, 2])
    b = np.array([1, 1, 2, 1, 2, 2, 2, 2, 2, 1])
    f = np.array([1, 2, 1, 2, 1, 2, 1, 2, 1, 2])
    y = np.array([12, 14, 11, 20, 17, 23, 35, 46, 15, 16], dtype=float)

    def second_type(self, first: np.ndarray, tested: np.ndarray, X: np.ndarray) -> np.ndarray:
        """Hypothesis of a term given the terms that do not contain it: its columns, cleared of those, times X."""
        return (tested - least_squares_projection(first, tested)) @ X

    def test_tests_fall_back_to_one_error(self) -> None:
        one = np.ones(10)
        a, b = 2.0 * self.a - 3, 2.0 * self.b - 3
        X = np.column_stack([one, a, b, a * b])
        fit = split_plot(X, self.y, self.f, zero="drop")
        assert fit.singular
        assert "zero" in fit.notes[0]
        assert fit.components["firing"] == 0.0
        assert fit.components["residual"] == pytest.approx(86.125, abs=1e-3)
        assert fit.df == pytest.approx([6.0] * 4)
        for tested, others, printed in ((a, b, 3.901306241), (b, a, 1.327527818)):
            test = fit.contrast_test(self.second_type(np.column_stack([one, others]), tested, X))
            assert test.statistic == pytest.approx(printed, abs=1e-5)
            assert test.df_error == pytest.approx(6.0)
        product = fit.contrast_test([0, 0, 0, 1])
        assert product.statistic == pytest.approx(0.9956458636, abs=1e-5)

    def test_kept_component_leaves_finite_and_more_cautious_tests(self) -> None:
        a, b = 2.0 * self.a - 3, 2.0 * self.b - 3
        X = np.column_stack([np.ones(10), a, b, a * b])
        kept, dropped = (split_plot(X, self.y, self.f, zero=way) for way in ("keep", "drop"))
        assert np.isfinite(kept.se).all()
        assert np.isfinite(kept.df).all()
        assert (kept.df < dropped.df).all()
        assert (kept.se >= dropped.se - 1e-9).all()

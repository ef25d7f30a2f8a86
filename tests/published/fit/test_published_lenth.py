"""Effects of unreplicated two-level tables, Lenth's margins, and a curvature check, against published examples."""

from __future__ import annotations

import numpy as np
import pytest
from fit_data import table

from meltdoe.fit.classical.half_normal import curvature, lenth, two_level_effects
from meltdoe.fit.classical.least_squares import least_squares, sequential_anova


def effects_by_name(data, columns, letters):
    found = two_level_effects(np.column_stack([data[c] for c in columns]), data["y"])
    names = ["".join(letters[i] for i in term) for term in found.terms]
    return found, names, dict(zip(names, found.effects, strict=True))


class TestFiltrationRate:
    """Montgomery, Design and Analysis of Experiments, filtration rate example (6.2 in recent editions).

    The 16 responses were seen in print (Dunn, Process Improvement Using Data); effects and margins remembered from
    the book. Method: Lenth (1989), Technometrics 31, 469-473.
    """

    found, names, effect = effects_by_name(table("filtration_rate"), "ABCD", "ABCD")

    def test_effects(self):
        assert self.found.mean == pytest.approx(70.0625)
        remembered = {
            "A": 21.625, "B": 3.125, "C": 9.875, "D": 14.625, "AB": 0.125, "AC": -18.125, "AD": 16.625, "BC": 2.375,
            "BD": -0.375, "CD": -1.125, "ABC": 1.875, "ABD": 4.125, "ACD": -1.625, "BCD": -2.625, "ABCD": 1.375,
        }  # fmt: skip
        assert self.effect == pytest.approx(remembered)

    def test_margins(self):
        result = lenth(self.found.effects)
        assert (result.s0, result.pse, result.df) == pytest.approx((3.9375, 2.625, 5))
        assert result.margin == pytest.approx(6.748, abs=5e-4)  # memory
        assert result.simultaneous_margin == pytest.approx(13.699, abs=5e-4)  # memory
        assert {n for n, b in zip(self.names, result.beyond_margin, strict=True) if b} == {"A", "C", "D", "AC", "AD"}
        beyond = {n for n, b in zip(self.names, result.beyond_simultaneous_margin, strict=True) if b}
        assert beyond == {"A", "D", "AC", "AD"}

    def test_half_normal_order(self):
        order = sorted(self.names, key=lambda name: -abs(self.effect[name]))
        assert order == ["A", "AC", "AD", "D", "C", "ABD", "B", "BCD", "BC", "ABC", "ACD", "ABCD", "CD", "BD", "AB"]

    def test_projection_onto_the_three_factors_that_matter(self):
        """Without B the table is a replicated 2^3 (recomputed with R 4.2.2)."""
        data = table("filtration_rate")
        a, c, d = (data[name] for name in "ACD")
        columns = {"A": a, "C": c, "D": d, "AC": a * c, "AD": a * d, "CD": c * d, "ACD": a * c * d}
        X = np.column_stack([np.ones(16), *columns.values()])
        tests = sequential_anova(X, data["y"], {name: [j] for j, name in enumerate(columns, start=1)})
        assert {test.name: test.statistic for test in tests} == pytest.approx(
            {"A": 83.36768802, "C": 17.38440111, "D": 38.13091922, "AC": 58.56545961, "AD": 49.2729805,
             "CD": 0.2256267409, "ACD": 0.4707520891}
        )  # fmt: skip
        reduced = least_squares(X[:, :6], data["y"])
        assert (reduced.sigma, reduced.r_squared) == pytest.approx((4.417295553, 0.965952342))


class TestConversion:
    """Box, Hunter & Hunter (1978), Statistics for Experimenters, p. 325, process development example.

    Data seen in the public-domain NIST file BOXCHEM.DAT; effects from memory of the book; margins recomputed.
    """

    found, names, effect = effects_by_name(table("conversion"), ["x1", "x2", "x3", "x4"], "1234")

    def test_effects(self):
        remembered = {
            "1": -8, "2": 24, "12": 1, "3": -2.25, "13": 0.75, "23": -1.25, "123": -0.75, "4": -5.5, "14": 0,
            "24": 4.5, "124": 0.5, "34": -0.25, "134": -0.25, "234": -0.75, "1234": -0.25,
        }  # fmt: skip
        assert self.effect == pytest.approx(remembered)
        assert self.found.mean == pytest.approx(72.25)

    def test_error_from_the_interactions_of_three_and_four_factors(self):
        high = [size for name, size in self.effect.items() if len(name) >= 3]
        assert np.sqrt(np.mean(np.square(high))) == pytest.approx(0.55, abs=5e-3)  # memory

    def test_margins(self):
        result = lenth(self.found.effects)
        assert (result.s0, result.pse) == pytest.approx((1.125, 1.125))
        assert result.margin == pytest.approx(2.891904565, abs=1e-6)
        assert result.simultaneous_margin == pytest.approx(5.87098267, abs=1e-6)
        assert {n for n, b in zip(self.names, result.beyond_margin, strict=True) if b} == {"1", "2", "4", "24"}
        assert {n for n, b in zip(self.names, result.beyond_simultaneous_margin, strict=True) if b} == {"1", "2"}
        assert sorted(self.names, key=lambda name: -abs(self.effect[name]))[:4] == ["2", "1", "4", "24"]


def test_curvature_of_a_chemical_yield():
    """Box, Hunter & Hunter (1978), p. 514, stage one: difference -0.5 from memory, the rest recomputed with R 4.2.2."""
    found = curvature([54.3, 60.3, 64.6, 68.0], [60.3, 64.3, 62.3])
    assert found.difference == pytest.approx(-0.5)
    assert (found.se, found.df, found.pure_error) == pytest.approx((1.527525232, 2, 2.0))
    assert (found.t, found.p_value) == pytest.approx((-0.3273268354, 0.7745061916))

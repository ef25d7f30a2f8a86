"""Simulated power and separated sets agree with closed forms and with what is known by hand."""

import numpy as np
import pytest
from planning_series import plain
from scipy import stats

from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.merits.effect_precision import effect_precision, pass_power
from meltdoe.plans.merits.pass_simulation import separated_sets, simulate_passes
from meltdoe.series import Kiln
from meltdoe.series.terms import main_terms


def test_separated_sets_by_hand():
    X = np.column_stack([np.ones(4), [-1.0, -1.0, 1.0, 1.0]])
    Y = np.array([[0, 0, 1, 1], [0, 1, 1, 0], [0, 0, 0, 1], [1, 1, 1, 1], [0, 1, 0, 1]], dtype=float)
    assert separated_sets(X, Y).tolist() == [True, False, True, True, False]


def test_few_melts_are_nearly_always_separated_and_many_seldom():
    def share(count):
        series = plain(4)
        drawn = make_plan(series, "full", count)
        return simulate_passes(series.coding, main_terms(series.factors), drawn.raw, sets=60, seed=1).separated

    assert share(16) > 0.3
    assert share(64) < 0.05


def test_simulated_pass_power_agrees_with_the_normal_approximation_for_many_melts():
    series = plain(2)
    raw = np.tile(make_plan(series, "full", 4).raw, (12, 1))
    played = simulate_passes(series.coding, main_terms(series.factors), raw, low=0.35, high=0.65, sets=800, seed=3)
    expected = pass_power(2.0 / np.sqrt(len(raw)), chances=(0.35, 0.65))
    assert played.power == pytest.approx(expected, abs=3 * played.error + 0.03)


def test_false_alarms_are_as_rare_as_stated():
    series = plain(3)
    raw = np.tile(make_plan(series, "full", 8).raw, (3, 1))
    played = simulate_passes(series.coding, main_terms(series.factors), raw, low=0.4999, high=0.5001, sets=600, seed=4)
    assert played.power == pytest.approx(0.1, abs=4 * np.sqrt(0.09 / 600) + 0.02)


def test_chances_that_mean_nothing_and_melts_too_few():
    series = plain(3)
    raw = make_plan(series, "full", 8).raw
    with pytest.raises(ValueError, match="between 0 and 1"):
        simulate_passes(series.coding, main_terms(series.factors), raw, low=0.0, high=0.8)
    assert np.isnan(simulate_passes(series.coding, main_terms(series.factors), raw[:2]).power).all()


@pytest.mark.parametrize("judged_by", ["firings", "melts"])
def test_measured_power_by_simulation_agrees_with_the_noncentral_t(judged_by):
    """Split-plot data made up, judged between firings by their means and within them by what is left."""
    series = plain(3, per_firing=1, kiln=Kiln(2))
    drawn = make_plan(series, "full", 16)
    firing = np.unique(drawn.firings, return_inverse=True)[1]
    terms = main_terms(series.factors)
    found = next(
        e for e in effect_precision(series.coding, terms, drawn.raw, firing, effect=1.5) if e.judged_by == judged_by
    )
    X = series.coding.matrix(terms, drawn.raw)
    place = 1 + terms.index(found.term)
    rng = np.random.default_rng(7)
    sets, shown = 3000, 0
    noise = rng.normal(size=(sets, len(X))) + rng.normal(size=(sets, firing.max() + 1))[:, firing]
    Y = 0.75 * X[:, place] + noise
    means = np.zeros((firing.max() + 1, len(X)))
    means[firing, np.arange(len(X))] = 1.0 / np.bincount(firing)[firing]
    if judged_by == "firings":
        rows, Y = means @ X[:, [0, place]], Y @ means.T
        column, df = 1, found.df
    else:
        within = np.eye(len(X)) - means[firing]
        still = np.abs(within @ X).max(axis=0) > 1e-9
        rows, Y = (within @ X)[:, still], Y @ within
        column, df = int(np.flatnonzero(np.flatnonzero(still) == place)[0]), found.df
    b = np.linalg.lstsq(rows, Y.T, rcond=None)[0]
    scale = ((Y.T - rows @ b) ** 2).sum(axis=0) / df
    t = b[column] / np.sqrt(scale * np.linalg.inv(rows.T @ rows)[column, column])
    shown = (np.abs(t) > stats.t.ppf(0.95, df)).mean()
    assert shown == pytest.approx(found.power_measured, abs=3 * np.sqrt(0.25 / sets) + 0.005)

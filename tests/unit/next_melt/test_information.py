"""Staged information against brute force on cases small enough to enumerate."""

from itertools import product

import numpy as np
import pytest
from scipy.special import expit, xlogy
from scipy.stats import norm

from meltdoe.next_melt.firing_set import added_information, coarser, greedy_set, set_information
from meltdoe.next_melt.gain import GoodDraws, expected_gain, most_that_could_be_gained
from meltdoe.next_melt.information import (
    StageView,
    measured_cells,
    outcome_information,
    reach_chances,
    staged_information,
)


def pass_stage(good, after=None, counts=True):
    good = np.asarray(good, dtype=float)
    return StageView(np.stack([1 - good, good], axis=2), np.array([False, True]), after, counts)


def random_chain(rng, draws=40, candidates=5):
    return [
        pass_stage(expit(rng.normal(size=(draws, candidates)) * 2), None),
        pass_stage(expit(rng.normal(size=(draws, candidates)) * 2), 0),
        pass_stage(expit(rng.normal(size=(draws, candidates)) * 2), 1),
    ]


def information_by_enumeration(stages, melts):
    """I(outcomes; theta) with theta the tuple of independent stage draws, every path of every melt enumerated."""
    draws = stages[0].probabilities.shape[0]
    paths = [(0,), (1, 0), (1, 1, 0), (1, 1, 1)]  # how far a melt gets along a chain of three

    def likelihood(path, melt):
        """Per stage, the likelihood of the path by that stage's draw; ones where the stage was not reached."""
        rows = [np.ones(draws) for _ in stages]
        for k, seen in enumerate(path):
            rows[k] = stages[k].probabilities[:, melt, seen]
        return rows

    total = 0.0
    for combination in product(paths, repeat=len(melts)):
        rows = [np.ones(draws) for _ in stages]
        for path, melt in zip(combination, melts, strict=True):
            rows = [row * new for row, new in zip(rows, likelihood(path, melt), strict=True)]
        marginal = np.prod([row.mean() for row in rows])
        # mean over theta of p log(p / marginal), with p = prod_k rows[k][s_k] and the s_k independent
        means = [row.mean() for row in rows]
        logs = [xlogy(row, row).mean() for row in rows]
        total += sum(logs[k] * np.prod([m for j, m in enumerate(means) if j != k]) for k in range(len(rows)))
        total -= xlogy(marginal, marginal)
    return total


def test_one_melt_equals_enumeration_of_all_paths():
    rng = np.random.default_rng(3)
    stages = random_chain(rng)
    staged = staged_information(stages).sum(axis=0)
    for melt in range(5):
        assert staged[melt] == pytest.approx(information_by_enumeration(stages, [melt]), abs=1e-12)


@pytest.mark.parametrize("melts", [(0, 1), (2, 2), (4, 1, 3), (0, 0, 0)])
def test_a_set_of_melts_equals_enumeration_of_all_joint_paths(melts):
    stages = random_chain(np.random.default_rng(8), draws=25)
    assert set_information(stages, melts) == pytest.approx(information_by_enumeration(stages, melts), abs=1e-12)


def test_a_melt_that_never_leaves_the_crucible_teaches_nothing_about_cracks():
    rng = np.random.default_rng(1)
    stages = [pass_stage(np.tile([0.0, 1.0], (30, 1))), pass_stage(rng.uniform(size=(30, 2)), 0)]
    by_stage = staged_information(stages)
    assert by_stage[1, 0] == 0.0
    assert by_stage[1, 1] > 0.01
    assert by_stage[0] == pytest.approx([0.0, 0.0])


def test_described_outcomes_earn_no_melts():
    rng = np.random.default_rng(2)
    stages = [pass_stage(rng.uniform(size=(30, 3))), pass_stage(rng.uniform(size=(30, 3)), 0, counts=False)]
    assert staged_information(stages)[1] == pytest.approx([0.0, 0.0, 0.0])
    assert added_information(stages, []) == pytest.approx(staged_information(stages)[0])


def test_a_stage_counts_unless_it_is_said_not_to():
    chances = np.array([[0.2], [0.8]])
    plain = StageView(np.stack([1 - chances, chances], axis=2), np.array([False, True]), None)
    assert staged_information([plain]) == pytest.approx(outcome_information(plain.probabilities)[None])


def test_branches_of_the_chain_share_their_forerunner():
    """Two outcomes after the same one: each is weighed by that forerunner only."""
    rng = np.random.default_rng(6)
    stages = [
        pass_stage(rng.uniform(size=(20, 4))),
        pass_stage(rng.uniform(size=(20, 4)), 0),
        pass_stage(rng.uniform(size=(20, 4)), 0),
    ]
    reached = reach_chances(stages)
    assert reached[2] == pytest.approx(reached[1])
    assert added_information(stages, []) == pytest.approx(staged_information(stages).sum(axis=0))


def test_information_of_a_measurement_matches_nested_monte_carlo():
    """Cells half a standard deviation wide against entropies by nested Monte Carlo (normal likelihood)."""
    rng = np.random.default_rng(5)
    mean, sigma = rng.normal(size=(200, 1)) * 2.0, np.full(200, 1.0)
    cells, good = measured_cells(mean, sigma, (0.0, np.inf), None)
    draws = rng.integers(200, size=20000)
    y = rng.normal(mean[draws, 0], 1.0)
    log_own = norm.logpdf(y, mean[draws, 0], 1.0)
    log_mix = np.log(norm.pdf(y[:, None], mean[None, :, 0], 1.0).mean(axis=1))
    brute = (log_own - log_mix).mean()
    assert outcome_information(cells)[0] == pytest.approx(brute, rel=0.03)
    assert cells[:, 0, good].sum(axis=1) == pytest.approx(norm.sf(0.0, mean[:, 0], 1.0), abs=1e-12)


def test_a_good_range_that_ends_on_a_bound_counts_all_that_is_censored_there():
    mean, sigma = np.array([[99.0], [120.0]]), np.array([5.0, 5.0])
    cells, good = measured_cells(mean, sigma, (95.0, 100.0), (0.0, 100.0))
    assert cells[:, 0, good].sum(axis=1) == pytest.approx(norm.sf(95.0, mean[:, 0], 5.0), abs=1e-12)
    assert cells.sum(axis=2) == pytest.approx(np.ones((2, 1)))


def test_a_good_range_that_begins_on_a_bound_counts_all_that_is_censored_there():
    mean, sigma = np.array([[3.0], [-9.0]]), np.array([5.0, 5.0])
    cells, good = measured_cells(mean, sigma, (0.0, 20.0), (0.0, 100.0))
    assert cells[:, 0, good].sum(axis=1) == pytest.approx(norm.cdf(20.0, mean[:, 0], 5.0), abs=1e-12)


def test_where_nothing_is_called_good_every_cell_is_seen_and_none_is_good():
    cells, good = measured_cells(np.array([[1.0], [4.0]]), np.array([1.0, 2.0]), None, None)
    assert good.shape == cells.shape[2:]
    assert not good.any()
    assert cells.sum(axis=2) == pytest.approx(np.ones((2, 1)))


@pytest.mark.parametrize("unit", [0.01, 7.0])
def test_the_unit_of_a_measurement_changes_nothing(unit):
    mean, sigma = np.random.default_rng(2).normal(50.0, 3.0, (40, 2)), np.full(40, 2.0)
    bounds = np.array([0.0, 52.0])
    for limits in (None, bounds):
        plain, _ = measured_cells(mean, sigma, None, limits)
        scaled, _ = measured_cells(unit * mean, unit * sigma, None, None if limits is None else unit * limits)
        assert scaled == pytest.approx(plain, abs=1e-9)
        assert plain.shape[2] > 8


def test_joined_categories_keep_good_and_bad_apart():
    rng = np.random.default_rng(4)
    probabilities = rng.dirichlet(np.ones(20), size=(30, 3))
    stage = StageView(probabilities, np.arange(20) >= 13, None)
    few = coarser(stage)
    assert few.probabilities.shape[2] < 20
    assert few.good_draws == pytest.approx(stage.good_draws)
    assert np.all(outcome_information(few.probabilities) <= outcome_information(stage.probabilities) + 1e-12)


def test_the_greedy_set_beats_nine_tenths_of_all_sets_and_its_bound():
    rng = np.random.default_rng(11)
    stages = random_chain(rng, draws=30, candidates=6)
    chosen, gains = greedy_set(stages, 2)
    everything = [set_information(stages, pair) for pair in product(range(6), repeat=2)]
    assert sum(gains) == pytest.approx(set_information(stages, chosen))
    assert sum(gains) >= (1 - np.exp(-1)) * max(everything)
    assert sum(gains) >= np.quantile(everything, 0.9)


def gain_by_enumeration(stages, candidate):
    """Average over every path of the best expected chance, the draws of each stage reweighted one by one."""

    def best(weights):
        expected = np.ones(stages[0].targets.shape[1])
        for stage, weight in zip(stages, weights, strict=True):
            expected = expected * (weight @ stage.targets) / weight.sum()
        return expected.max()

    draws = stages[0].targets.shape[0]
    even = [np.ones(draws) for _ in stages]
    total = -best(even)
    for path in [(0,), (1, 0), (1, 1)]:
        weights, chance = [w.copy() for w in even], 1.0
        for k, seen in enumerate(path):
            g = stages[k].candidates[:, candidate]
            weights[k] = g if seen else 1 - g
            chance *= weights[k].mean()
        total += chance * best(weights)
    return total


def two_stages(seed, draws=60, candidates=4, targets=6):
    rng = np.random.default_rng(seed)
    return [
        GoodDraws(rng.uniform(size=(draws, candidates)), rng.uniform(size=(draws, targets)), None),
        GoodDraws(rng.uniform(size=(draws, candidates)), rng.uniform(size=(draws, targets)), 0),
    ]


def test_expected_gain_equals_enumeration_of_paths():
    stages = two_stages(1)
    gain = expected_gain(stages)
    for candidate in range(4):
        assert gain[candidate] == pytest.approx(gain_by_enumeration(stages, candidate), abs=1e-12)


def test_gain_is_never_negative_and_with_one_stage_never_more_than_knowing_everything():
    for seed in range(20):
        stages = two_stages(seed, draws=30)[:1]
        gain = expected_gain(stages)
        assert np.all(gain >= -1e-12)
        assert np.all(gain <= most_that_could_be_gained(stages) + 1e-12)


def test_a_second_melt_never_takes_gain_away():
    stages = two_stages(5)
    alone = expected_gain(stages)
    with_first = expected_gain(stages, [2])
    assert np.all(with_first >= alone[2] - 1e-12)


def test_a_certain_melt_gains_nothing():
    stages = [GoodDraws(np.ones((50, 1)), np.random.default_rng(0).uniform(size=(50, 3)), None)]
    assert expected_gain(stages) == pytest.approx([0.0], abs=1e-12)

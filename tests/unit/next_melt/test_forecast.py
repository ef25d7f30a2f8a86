"""How many more melts: the update of what is believed against quadrature, and the forecast against what bounds it."""

import numpy as np
import pytest
from scipy.stats import norm
from small_chain import LOGS, SPILLED, chain_of, small_series

from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.played_stage import LOGIT_PER_PROBIT, PlayedStage, played_stage
from meltdoe.series import Budget, Costs

NEARLY = LOGS["all good"] * 3  # twelve good melts


def stage_at_two_settings(**changes):
    """One path; two settings whose latent values are correlated."""
    given = {
        "mid": np.array([0.3, -0.5]),
        "along": np.array([[1.0, 0.2], [0.6, 0.8]]),
        "mean": np.array([[0.1, -0.2]]),
        "cov": np.array([[[1.5, 0.3], [0.3, 0.9]]]),
        "truth": np.zeros((1, 2)),
        "noise": None,
    }
    return PlayedStage(**{**given, **changes})


def moments(weight_of):
    """Mean and covariance of the latent values of the stage above, weighed, by brute force over a fine grid of z."""
    stage = stage_at_two_settings()
    grid = np.linspace(-9.0, 9.0, 601)
    z = np.stack(np.meshgrid(grid, grid, indexing="ij"), axis=-1).reshape(-1, 2)
    away = z - stage.mean[0]
    weight = np.exp(-0.5 * np.sum((away @ np.linalg.inv(stage.cov[0])) * away, axis=1))
    latent = stage.mid + z @ stage.along.T
    weight = weight * weight_of(latent)
    weight /= weight.sum()
    mean = weight @ latent
    return mean, weight @ (latent - mean) ** 2


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_pass_or_a_failure_moves_both_settings_as_the_exact_update_does(sign):
    stage, here = stage_at_two_settings(), np.array([0])
    stage.learn(here, here, np.array([sign]), np.zeros(1), LOGIT_PER_PROBIT)
    mean, variance = moments(lambda latent: norm.cdf(sign * latent[:, 0] / LOGIT_PER_PROBIT))
    found = stage.latent(here)
    assert found[0][0] == pytest.approx(mean, abs=1e-6)
    assert found[1][0] == pytest.approx(variance, abs=1e-6)


def test_a_reading_moves_both_settings_as_the_exact_update_does():
    stage, here = stage_at_two_settings(noise=np.array([0.7]), usual_noise=0.7), np.array([0])
    stage.regress(here, here, np.array([1.4]))
    mean, variance = moments(lambda latent: norm.pdf(1.4, latent[:, 0], 0.7))
    found = stage.latent(here)
    assert found[0][0] == pytest.approx(mean, abs=1e-6)
    assert found[1][0] == pytest.approx(variance, abs=1e-6)


def test_results_come_as_often_as_the_truth_says():
    truth = np.full((4000, 1), np.log(0.7 / 0.3))
    stage = PlayedStage(
        np.zeros(1), np.ones((1, 1)), np.zeros((4000, 1)), np.tile(np.eye(1), (4000, 1, 1)), truth, None
    )
    good = stage.melt(np.arange(4000), np.zeros(4000, dtype=int), np.random.default_rng(1))
    assert good.mean() == pytest.approx(0.7, abs=4 * np.sqrt(0.21 / 4000))


def forecast_of(rows, **changes):
    return next_melts(chain_of(small_series(**changes), rows)).forecast


@pytest.mark.parametrize("rows", LOGS.values(), ids=LOGS.keys())
def test_a_forecast_keeps_to_the_budget_and_to_whole_firings(rows):
    found = forecast_of(rows, budget=Budget(melts=len(rows) + 7))
    assert (found.horizon, found.within_budget) == (7, True)
    assert 0.0 <= found.never <= 1.0
    assert (found.melts is None) == (found.never > 0.5)
    for melts in (found.low, found.melts, found.high):
        assert melts is None or melts in (2.0, 4.0, 6.0, 7.0)
    assert found.money_low <= found.money <= found.money_high


def test_without_a_budget_thirty_melts_are_looked_ahead():
    found = forecast_of(LOGS["mixed"])
    assert (found.horizon, found.within_budget) == (30, False)


def test_a_spent_budget_is_looked_beyond():
    found = forecast_of(LOGS["mixed"], budget=Budget(melts=5))
    assert (found.horizon, found.within_budget) == (30, False)


def test_firings_left_bound_the_forecast_too():
    assert forecast_of(LOGS["mixed"], budget=Budget(melts=20, firings=5)).horizon == 4


def test_a_target_that_counts_as_reached_needs_no_forecast():
    assert forecast_of(LOGS["all good"] * 6, target_chance=0.5) is None


def test_the_nearer_the_target_the_fewer_melts():
    near, far = (forecast_of(NEARLY, target_chance=target) for target in (0.75, 0.9))
    assert near.never < far.never
    assert near.melts < (far.melts or np.inf)
    assert near.money < far.money


def test_where_nothing_works_hardly_any_series_gets_there():
    tried = [(flux, peak, SPILLED) for flux in (15, 25, 35) for peak in (1100, 1175, 1250) if flux + peak / 10 <= 150]
    assert forecast_of(tried * 2).never > 0.95


def test_money_is_that_of_the_melts_and_firings_where_nothing_is_lost():
    """Nobody gets to a target of 99.9 % in six melts: 6 * 12 + 3 * 9."""
    found = forecast_of(
        LOGS["mixed"], target_chance=0.999, costs=Costs(melt=12.0, firing=9.0), budget=Budget(firings=6)
    )
    assert found.never == 1.0
    assert (found.money, found.money_low, found.money_high) == (99.0, 99.0, 99.0)


def test_likely_losses_are_in_the_money():
    """A spilled crucible is 45 on top; the mean lies between no loss and one a melt."""
    found = forecast_of(LOGS["only failures"], target_chance=0.999, budget=Budget(firings=5))
    assert 99.0 + 45.0 < found.money < 99.0 + 6 * 45.0


def test_the_same_seed_gives_the_same_forecast():
    assert forecast_of(LOGS["mixed"]) == forecast_of(LOGS["mixed"])


def test_money_left_ends_a_series_before_its_melts_do():
    """132 are spent; 200 more pay at most ten melts, and no path spends more than that and one loss."""
    found = forecast_of(LOGS["mixed"], target_chance=0.99, budget=Budget(melts=30, money=332.0))
    assert found.within_budget
    assert found.horizon <= 10
    assert found.money_high <= 200.0 + 45.0


def test_a_series_that_is_no_longer_worth_its_cost_ends():
    rows, budget = LOGS["mixed"], Budget(melts=25)
    dear, free = (
        forecast_of(rows, budget=budget, target_chance=0.8, costs=costs)
        for costs in (Costs(melt=12.0, firing=9.0, loss={"contained": 45.0}), Costs())
    )
    assert dear.gives_up > 0.0
    assert free.gives_up == 0.0
    assert dear.gives_up <= dear.never


def test_normal_form_learns_no_faster_than_a_fit():
    """Draws of a logit with a long tail towards certainty: six good melts by weighing the draws, and in normal form."""
    chain, setting = chain_of(small_series(), LOGS["all good"], draws=2000), np.array([[30.0, 1150.0]])
    for stage in chain.stages:
        good = stage.chance_draws(setting)[:, 0]
        played = played_stage(chain, stage, ["contained", "poured", "sound"], setting, np.arange(2))
        one = np.array([0])
        for _ in range(6):
            played.learn(one, np.array([0]), np.ones(1), np.zeros(1), LOGIT_PER_PROBIT)
        mean, variance = played.latent(one)
        weighed = float((good**7).sum() / (good**6).sum())
        assert float(played.chance(mean, variance)[0, 0]) == pytest.approx(weighed, abs=0.015)


def test_scatter_is_learnt_with_every_measurement():
    """Ten deviations more make the variance 1 / (1 / s0^2 + 20), and the middle goes to the truth."""
    stage = PlayedStage(
        np.zeros(1), np.ones((1, 1)), np.zeros((2, 1)), np.tile(np.eye(1), (2, 1, 1)), np.zeros((2, 1)),
        noise=np.array([4.0, 4.0]), usual_noise=2.0, noise_spread=0.3, read=np.zeros(2),
    )  # fmt: skip
    both = np.arange(2)
    before = np.log(stage.believed_noise(both, np.array([0.0, 1.0])))
    assert before[0] == pytest.approx([np.log(2.0), np.log(2.0) + 0.3])
    for _ in range(10):
        stage.regress(np.array([0]), np.array([0]), np.zeros(1))
    after = np.log(stage.believed_noise(both, np.array([0.0, 1.0])))
    share = 20.0 / (20.0 + 1 / 0.3**2)
    assert after[0, 0] == pytest.approx(np.log(2.0) + share * np.log(2.0))
    assert after[0, 1] - after[0, 0] == pytest.approx((1 / 0.3**2 + 20.0) ** -0.5)
    assert after[1] == pytest.approx(before[1])

"""Playing measured outcomes on: chances in a range, what is believed of the scatter, readings cut off at a bound."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm
from small_chain import small_series

from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.played_stage import PlayedStage, played_stage
from meltdoe.series import Budget, GoodRange, Outcome, Unseen

NOISE = 2.0


def reading_stage(paths=1, **changes):
    """One setting whose mean is known to be 50 but for a variance of 9; a melt's reading scatters by 2."""
    given = {
        "mid": np.array([50.0]),
        "along": np.ones((1, 1)),
        "mean": np.zeros((paths, 1)),
        "cov": np.full((paths, 1, 1), 9.0),
        "truth": np.full((paths, 1), 53.0),
        "noise": np.full(paths, NOISE),
        "usual_noise": NOISE,
        "read": np.zeros(paths),
        "good": (52.0, np.inf),
    }
    return PlayedStage(**{**given, **changes})


@pytest.mark.parametrize("good", [(52.0, np.inf), (-np.inf, 52.0), (48.0, 52.0), (-np.inf, np.inf)])
def test_the_chance_of_a_good_reading_is_that_of_its_normal(good):
    stage = reading_stage(good=good)
    mean = np.array([[50.0, 53.0]])
    sd = np.sqrt(NOISE**2 + 9.0)
    assert stage.chance(mean, 9.0) == pytest.approx(norm.cdf(good[1], mean, sd) - norm.cdf(good[0], mean, sd))
    known = norm.cdf(good[1], mean, NOISE) - norm.cdf(good[0], mean, NOISE)
    assert stage.known_chance(mean) == pytest.approx(known)
    wide = norm.cdf(good[1], mean, 4.0) - norm.cdf(good[0], mean, 4.0)
    assert stage.known_chance(mean, np.array([[4.0]])) == pytest.approx(wide)


def test_readings_teach_the_scatter_as_two_estimates_of_a_logarithm_are_pooled():
    """Prior variance 0.09 of the log; k readings have a variance of 1 / (2 k)."""
    stage = reading_stage(2, noise=np.array([3.0, 3.0]), noise_spread=0.3, read=np.array([0.0, 5.0]))
    low, middle, high = (np.log(stage.believed_noise(np.arange(2), np.array([z])))[:, 0] for z in (-1.0, 0.0, 1.0))
    weight = np.array([0.0, 10.0]) / (1 / 0.09 + np.array([0.0, 10.0]))
    assert middle == pytest.approx((1 - weight) * np.log(2.0) + weight * np.log(3.0))
    assert (high - low) / 2 == pytest.approx(np.sqrt(1 / (1 / 0.09 + np.array([0.0, 10.0]))))


def test_a_pass_has_no_scatter_to_believe_in():
    assert reading_stage(noise=None).believed_noise(np.arange(1), np.zeros(1)) is None
    assert reading_stage(read=None).believed_noise(np.arange(1), np.zeros(1)) is None


def test_a_reading_tells_the_entropy_that_it_takes_away():
    found = reading_stage().told(np.array([0.3]), np.array([9.0]))
    assert found == pytest.approx(0.5 * np.log((NOISE**2 + 9.0) / NOISE**2))


def test_readings_are_as_often_good_as_the_truth_says_and_are_counted():
    paths = np.arange(4000)
    stage = reading_stage(4000)
    good = stage.melt(paths, np.zeros(4000, dtype=int), np.random.default_rng(2))
    assert good.mean() == pytest.approx(norm.sf(52.0, 53.0, NOISE), abs=0.03)
    assert (stage.read == 1.0).all()
    # the posterior of a normal mean: a weight of 9 / (9 + 4) on a reading of 53 by the mean
    mean, variance = stage.latent(paths)
    assert mean.mean() == pytest.approx(50.0 + 3.0 * 9.0 / 13.0, abs=0.1)
    assert variance == pytest.approx(np.full((4000, 1), 9.0 * 4.0 / 13.0))


@pytest.mark.parametrize(("bounds", "sign"), [((0.0, 51.0), 1.0), ((55.0, 100.0), -1.0)])
def test_a_reading_on_a_bound_only_says_on_which_side_it_lies(bounds, sign):
    """The mean moves as that of a normal known to lie beyond the bound, and the reading teaches no scatter."""
    edge = bounds[1] if sign > 0 else bounds[0]
    stage = reading_stage(200, censored=bounds)
    stage.melt(np.arange(200), np.zeros(200, dtype=int), np.random.default_rng(3))
    piled = stage.read == 0.0
    assert piled.any()
    assert not piled.all()
    total = np.sqrt(9.0 + NOISE**2)
    z = sign * (50.0 - edge) / total
    expected = 50.0 + sign * 9.0 / total * norm.pdf(z) / norm.cdf(z)
    assert stage.latent(np.flatnonzero(piled))[0] == pytest.approx(np.full((piled.sum(), 1), expected))


FILL = Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(low=80))


def filled_log(series):
    rows = [(20, 1150, 60.0), (30, 1150, 85.0), (25, 1225, 90.0), (40, 1100, 70.0), (30, 1200, 95.0), (15, 1250, None)]
    entries = tuple(
        Entry(
            i + 1,
            i + 1,
            {"flux": float(flux), "peak": float(peak)},
            {"contained": fill is not None, "fill": Unseen.NOT_REACHED if fill is None else fill},
        )
        for i, (flux, peak, fill) in enumerate(rows)
    )
    return Log(series, entries)


@pytest.fixture(scope="module")
def filled():
    series = small_series(outcomes=(Outcome("contained", "pass"), FILL), budget=Budget(melts=14), target_chance=0.7)
    return fit_chain(series, filled_log(series), n_draws=400)


def test_a_measured_outcome_starts_from_the_draws_of_its_fit(filled):
    settings = np.array([[20.0, 1150.0], [30.0, 1200.0], [35.0, 1150.0]])
    truths = np.arange(0, 400, 40)
    stage = filled.stage("fill")
    found = played_stage(filled, stage, ["contained", "fill"], settings, truths)
    latent, scatter = stage.outcome_draws(settings)
    assert found.truth == pytest.approx(latent[truths])
    assert found.noise == pytest.approx(scatter[truths])
    assert (found.after, found.loss, found.censored) == (0, 0.0, (0, 100))
    assert found.good == (80, np.inf), "what piles up at 100 is good too"
    before, spread = found.latent(np.arange(len(truths)))
    assert before[0] == pytest.approx(latent.mean(axis=0))
    assert spread[0] == pytest.approx(latent.var(axis=0, ddof=1), rel=0.05)
    chance = found.chance(before[:1], spread[:1])[0]
    assert chance == pytest.approx(stage.chance_draws(settings).mean(axis=0), abs=0.08)


def test_a_forecast_with_readings_keeps_to_the_budget(filled):
    forecast = next_melts(filled).forecast
    assert (forecast.horizon, forecast.within_budget) == (8, True)
    assert 0.0 <= forecast.never <= 1.0


def test_an_open_range_is_good_on_both_sides_of_nothing(filled):
    stage = SimpleNamespace(
        outcome=Outcome("fill", "measured", unit="%", bounds=(0, 100), good=GoodRange(0, 60)),
        outcome_draws=filled.stage("fill").outcome_draws,
    )
    found = played_stage(filled, stage, ["contained"], np.array([[20.0, 1150.0]]), np.arange(3))
    assert found.good == (-np.inf, 60), "what piles up at 0 is good too"
    assert found.after is None

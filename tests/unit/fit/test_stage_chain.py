"""From a log to chances: the chain, its effects, its best setting. All series are invented."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from meltdoe.errors import Inestimable
from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import (
    Amount,
    Belief,
    Choice,
    GoodRange,
    Limit,
    MeltSeries,
    Ordered,
    Outcome,
    parse_term,
)
from meltdoe.series.limit_parser import parse_comparison
from meltdoe.series.outcome import Seen, Unseen

FACTORS = (
    Amount("flux", 15, 40, unit="wt%", step=1),
    Amount("peak", 1150, 1250, unit="°C", step=25),
    Choice("packing", ("tight", "edge")),
)
OUTCOMES = (
    Outcome("contained", "pass"),
    Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(low=90)),
    Outcome("bubbles", "grade", grades=("none", "few", "many"), after="contained", good=("none",)),
    Outcome("hue", "grade", grades=("green", "brown"), after="contained"),
    Outcome("sound", "pass", after="fill"),
)
SERIES = MeltSeries("invented", FACTORS, OUTCOMES, seed=7)


def simulated(series: MeltSeries, n: int, seed: int, per_firing: int = 1) -> Log:
    """Flux makes crucibles leak and moulds fill; edge packing clears bubbles; peak does nothing."""
    rng = np.random.default_rng(seed)
    entries = []
    for melt in range(1, n + 1):
        raw = np.array([rng.choice(factor.grid()) for factor in series.factors])
        flux, edge = (raw[0] - 27.5) / 12.5, raw[2] == 1
        seen: dict[str, Seen] = dict.fromkeys((o.name for o in OUTCOMES), Unseen.NOT_REACHED)
        seen["contained"] = bool(rng.random() < 1 / (1 + np.exp(-2.5 + 2 * flux)))
        if seen["contained"]:
            fill = float(np.clip(85 + 12 * flux + rng.normal(0, 4), 0, 100))
            seen["fill"] = fill
            seen["bubbles"] = "none" if rng.random() < (0.9 if edge else 0.15) else "many"
            seen["hue"] = "green"
            if fill >= 90:
                seen["sound"] = bool(rng.random() < 0.7)
        entries.append(Entry(melt, (melt - 1) // per_firing + 1, series.settings(raw), seen))
    return Log(series, tuple(entries))


@pytest.fixture(scope="module")
def chain() -> ChainFit:
    return fit_chain(SERIES, simulated(SERIES, 30, seed=4))


def test_success_is_the_product_over_the_outcomes_that_count(chain: ChainFit) -> None:
    raw = SERIES.raw_table(
        [{"flux": 20, "peak": 1200, "packing": "edge"}, {"flux": 35, "peak": 1150, "packing": "tight"}]
    )
    expected = np.prod([chain.stage(n).chance_draws(raw) for n in ("contained", "fill", "bubbles", "sound")], axis=0)
    assert np.allclose(chain.success_draws(raw), expected)
    assert chain.success_draws(raw).shape == (chain.n_draws, 2)
    assert np.array_equal(chain.stage("hue").chance_draws(raw), np.ones((chain.n_draws, 2)))
    table = chain.chance(raw)
    assert np.allclose(table.mean, expected.mean(axis=0))
    assert np.all((table.low <= table.mean) & (table.mean <= table.high))
    assert np.array_equal(chain.success_draws(raw, thin=10), chain.success_draws(raw)[::10])


def test_outcome_draws_have_the_shape_of_their_kind(chain: ChainFit) -> None:
    raw = SERIES.coding.centre()[None]
    passes, grades = chain.stage("contained").outcome_draws(raw), chain.stage("bubbles").outcome_draws(raw)
    assert isinstance(passes, np.ndarray)
    assert isinstance(grades, np.ndarray)
    assert passes.shape == (chain.n_draws, 1, 2)
    assert grades.shape == (chain.n_draws, 1, 3)
    assert np.allclose(passes.sum(axis=2), 1)
    assert np.allclose(grades.sum(axis=2), 1)
    assert np.allclose(passes[..., 0], chain.stage("contained").chance_draws(raw))
    assert np.allclose(grades[..., 0], chain.stage("bubbles").chance_draws(raw))
    mean, sigma = chain.stage("fill").outcome_draws(raw)
    assert mean.shape == (chain.n_draws, 1)
    assert sigma.shape == (chain.n_draws,)


def test_effects_find_what_matters(chain: ChainFit) -> None:
    fill = {effect.label: effect for effect in chain.stage("fill").effects}
    flux = fill["flux"]
    assert flux.value_low is not None
    assert flux.value_low < 24 < (flux.value_high or 0)  # the truth: 12 coded, 24 from low to high
    assert flux.inclusion is not None
    assert flux.inclusion > 0.9
    assert (fill["peak"].inclusion or 1) < 0.5
    bubbles = {effect.label: effect for effect in chain.stage("bubbles").effects}["packing"]
    assert bubbles.change_low is not None
    assert bubbles.change_low > 0
    assert (bubbles.from_setting, bubbles.to_setting) == ("tight", "edge")
    assert bubbles.estimate is not None
    assert bubbles.estimate > 0  # larger is better, though grade 0 is the best
    assert bubbles.p_value is not None
    assert bubbles.sentence.startswith("Packing edge instead of tight: chance of bubbles none from ")
    assert "points with 90 % probability" in bubbles.sentence


def test_shares_of_failure_sum_to_one_and_follow_the_order_of_the_work(chain: ChainFit) -> None:
    raw = SERIES.raw_table(
        [{"flux": 40, "peak": 1200, "packing": "edge"}, {"flux": 15, "peak": 1200, "packing": "edge"}]
    )
    shares = chain.stage_failure_share(raw)
    assert list(shares) == ["contained", "fill", "bubbles", "sound"]
    assert np.sum(list(shares.values()), axis=0) == pytest.approx([1, 1])
    assert max(shares, key=lambda name: shares[name][1]) == "fill"
    assert shares["contained"][0] > shares["contained"][1]


def test_the_best_setting_is_on_the_steps_and_beats_all_others(chain: ChainFit) -> None:
    best = chain.best()
    grid = np.stack(np.meshgrid(*(f.grid() for f in FACTORS), indexing="ij"), axis=-1).reshape(-1, 3)
    assert best.chance == pytest.approx(chain.chance(grid).mean.max(), abs=0.003)
    assert best.settings["packing"] == "edge"
    assert float(best.settings["flux"]).is_integer()
    assert 0 <= best.low <= best.chance <= best.high <= 1
    assert best.chance_reaches_target == (chain.success_draws(best.raw) >= SERIES.target_chance).mean()
    assert chain.best().settings == best.settings


def test_the_best_setting_keeps_every_limit() -> None:
    limit = Limit("flux + peak <= 1176", "invented", parse_comparison("flux + peak <= 1176"))
    series = MeltSeries("invented", FACTORS, OUTCOMES, limits=(limit,))
    found = fit_chain(series, simulated(series, 14, seed=2))
    best = found.best()
    assert float(best.settings["flux"]) + float(best.settings["peak"]) <= 1176
    with pytest.raises(Inestimable, match="limit"):
        found.best(np.array([[40.0, 1250.0, 0.0]]))


def test_many_settings_are_searched_to_the_same_height_as_a_dense_sample() -> None:
    factors = (
        *FACTORS,
        Amount("hold", 1, 8, step=0.25),
        Amount("cool", 1, 100, step=1),
        Ordered("grain", ("a", "b", "c")),
    )
    series = MeltSeries("invented", factors, OUTCOMES)
    found = fit_chain(series, simulated(series, 16, seed=5))
    rng = np.random.default_rng(0)
    sample = np.column_stack([rng.choice(factor.grid(), 3000) for factor in factors])
    assert found.best().chance >= found.success_draws(sample).mean(axis=0).max() - 0.005
    assert found.best().settings == found.best().settings


def test_a_log_without_melts_gives_the_prior_and_says_so() -> None:
    found = fit_chain(SERIES, Log(SERIES))
    stage = found.stage("contained")
    assert (stage.n_seen, stage.n_good, stage.separation) == (0, 0, None)
    assert stage.chance_draws(SERIES.coding.centre()[None]).mean() == pytest.approx(0.5, abs=0.03)
    assert not any(effect.estimable for effect in stage.effects)
    assert stage.effects[0].sentence == "No melt has been seen for contained yet."


@pytest.mark.parametrize(("good", "low", "high"), [(True, 0.75, 0.99), (False, 0.01, 0.25)])
def test_all_alike_moves_the_chance_but_not_to_certainty(good: bool, low: float, high: float) -> None:
    series = MeltSeries("invented", FACTORS, OUTCOMES[:1])
    rng = np.random.default_rng(1)
    rows = [series.settings([rng.choice(f.grid()) for f in FACTORS]) for _ in range(8)]
    log = Log(series, tuple(Entry(i, i, row, {"contained": good}) for i, row in enumerate(rows, 1)))
    found = fit_chain(series, log)
    assert low < found.chance(series.coding.centre()[None]).mean[0] < high
    assert found.stage("contained").classical.estimates["flux"].low < 0


def test_a_belief_counts_as_its_melts_and_can_be_left_out() -> None:
    series = MeltSeries("invented", FACTORS, OUTCOMES[:1], beliefs=(Belief({"flux": 27.5}, "contained", 0.95, 5.0),))
    centre = series.coding.centre()[None]
    with_belief = fit_chain(series, Log(series)).chance(centre).mean[0]
    without = fit_chain(series, Log(series), use_beliefs=False).chance(centre).mean[0]
    assert with_belief > 0.75 > 0.6 > without


def test_factors_changed_together_are_said_to_be_so_and_the_posterior_goes_on() -> None:
    series = MeltSeries("invented", FACTORS, OUTCOMES[:1])
    settings = [(15, 1150), (40, 1250)] * 4
    log = Log(
        series,
        tuple(
            Entry(
                i, i, {"flux": f, "peak": p, "packing": "edge" if i in (1, 2, 5) else "tight"}, {"contained": f == 40}
            )
            for i, (f, p) in enumerate(settings, 1)
        ),
    )
    stage = fit_chain(series, log).stage("contained")
    flux, peak, packing = stage.effects
    assert not flux.estimable
    assert not peak.estimable
    assert packing.estimable
    assert (flux.estimate, flux.p_value) == (None, None)
    assert flux.sentence == "Flux and peak were changed together: their effects cannot be told apart."
    assert packing.estimate is not None
    high, low = (
        stage.chance_draws(series.raw_table([{"flux": f, "peak": p, "packing": "tight"}])) for f, p in settings[:2]
    )
    assert low.mean() > high.mean() + 0.3


def test_terms_of_the_file_are_used_as_they_stand() -> None:
    terms = (parse_term("flux"), parse_term("peak"), parse_term("flux * peak"))
    series = MeltSeries("invented", FACTORS, OUTCOMES[:1], terms=terms)
    stage = fit_chain(series, simulated(series, 20, seed=3)).stage("contained")
    assert stage.terms == terms
    assert [effect.label for effect in stage.effects] == ["flux", "peak", "flux * peak"]


def test_an_interaction_is_taken_in_where_rows_and_parents_allow_it() -> None:
    series = MeltSeries("invented", FACTORS, (Outcome("fill", "measured", unit="%", good=GoodRange(low=90)),))
    rng = np.random.default_rng(6)
    entries = []
    for melt in range(1, 25):
        raw = np.array([rng.choice(factor.grid()) for factor in FACTORS])
        a, b = (raw[0] - 27.5) / 12.5, (raw[1] - 1200) / 50
        entries.append(
            Entry(melt, melt, series.settings(raw), {"fill": 80 + 5 * a + 5 * b + 4 * a * b + rng.normal(0, 0.7)})
        )
    stage = fit_chain(series, Log(series, tuple(entries))).stage("fill")
    effect = {str(e.term): e for e in stage.effects}["flux * peak"]
    assert effect.value_low is not None
    assert effect.value_low < 8 < (effect.value_high or 0)  # 2 x 4: set the same way against opposite ways
    assert fit_chain(series, Log(series, tuple(entries[:9]))).stage("fill").terms == stage.terms[:3]


def test_melts_of_one_firing_share_an_effect_that_new_firings_average_over() -> None:
    series = MeltSeries("invented", FACTORS, OUTCOMES[:1])
    alone = fit_chain(series, simulated(series, 12, seed=8)).stage("contained")
    shared = fit_chain(series, simulated(series, 12, seed=8, per_firing=3)).stage("contained")
    assert not alone.firing_sd_draws.any()
    assert (shared.firing_sd_draws > 0).all()
    assert any("one firing" in note for note in shared.notes)
    assert shared.chance_draws(series.coding.centre()[None]).shape == (2000, 1)


@pytest.mark.parametrize("change", [lambda e: e[::-1], lambda e: e[5:] + e[:5]])
def test_the_order_of_the_log_changes_nothing(change: Callable[[tuple[Entry, ...]], tuple[Entry, ...]]) -> None:
    series = MeltSeries("invented", FACTORS, OUTCOMES[:3])
    log = simulated(series, 10, seed=9, per_firing=2)
    one, other = fit_chain(series, log), fit_chain(series, Log(series, change(log.entries)))
    assert [s.effects for s in one.stages] == [s.effects for s in other.stages]
    assert one.best().chance == other.best().chance


def test_another_seed_moves_estimates_by_no_more_than_the_draws_allow() -> None:
    log = simulated(SERIES, 14, seed=10)
    raw = SERIES.raw_table([{"flux": 22, "peak": 1200, "packing": "edge"}])
    one, other = (fit_chain(SERIES, log, seed=seed).stage("contained").chance_draws(raw) for seed in (1, 2))
    assert not np.array_equal(one, other)
    assert one.mean() == pytest.approx(other.mean(), abs=0.02)
    assert np.quantile(one, 0.05) == pytest.approx(np.quantile(other, 0.05), abs=0.06)


def test_level_must_be_a_share() -> None:
    with pytest.raises(ValueError, match="level"):
        fit_chain(SERIES, Log(SERIES), level=90)


def test_mean_readings_stay_within_the_bounds_of_the_outcome() -> None:
    """Every melt filled the mould but one; a normal mean would run past 100 %."""
    series = MeltSeries("invented", FACTORS[:1], OUTCOMES[:2])
    rows = [(15.0, 70.0), (20.0, 100.0), (25.0, 100.0), (30.0, 100.0), (35.0, 100.0), (40.0, 100.0)]
    entries = (Entry(i, i, {"flux": f}, {"contained": True, "fill": fill}) for i, (f, fill) in enumerate(rows, 1))
    stage = fit_chain(series, Log(series, tuple(entries))).stage("fill")
    (flux,) = stage.effects
    assert flux.value_from is not None
    assert flux.value_to is not None
    assert 0 <= flux.value_from < flux.value_to <= 100
    assert list(stage.data.censored) == [0, 1, 1, 1, 1, 1]


def test_fewer_draws_can_be_asked_for() -> None:
    found = fit_chain(SERIES, simulated(SERIES, 8, seed=11), n_draws=300)
    assert found.success_draws(SERIES.coding.centre()[None]).shape == (300, 1)


def test_a_draft_has_fewer_draws_and_says_much_the_same(chain: ChainFit) -> None:
    draft = fit_chain(SERIES, chain.log, effort="draft")
    assert draft.n_draws == 400
    raw = SERIES.raw_table([{"flux": 20, "peak": 1200, "packing": "edge"}])
    assert draft.success_draws(raw).shape == (400, 1)
    assert draft.chance(raw).mean == pytest.approx(chain.chance(raw).mean, abs=0.05)
    assert not any(stage.posterior.diagnostics.trusted for stage in draft.stages)

"""One melt left out: the same as a fit without it, and named where it decides or surprises. All series are invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented_series import FLUX, PACKING, POURED, WORDS, Row, fills, fitted, passes, without

from meltdoe.fit.checks.influence import influence
from meltdoe.fit.checks.leave_one_out import _from_tried, _rows_of, leave_out, sides_of_seen
from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import MeltSeries, Outcome, parse_term
from meltdoe.series.outcome import Unseen

SOME_PASSES: list[Row] = [
    (10, "tight", False), (15, "edge", False), (20, "tight", True), (25, "edge", False), (30, "tight", True),
    (35, "edge", True), (40, "tight", True), (20, "edge", False), (30, "edge", True), (15, "tight", False),
]  # fmt: skip
EVERYWHERE = np.array([[flux, packing] for flux in (10.0, 25, 40) for packing in (0.0, 1)])


@pytest.mark.parametrize("melt", [1, 3, 7])
def test_weighted_draws_are_the_posterior_without_the_melt(melt: int) -> None:
    case = passes(SOME_PASSES)
    left = leave_out(fitted(case), 0, melt)
    again = without(case, melt).stages[0].chance_draws(EVERYWHERE).mean(axis=0)
    assert left.mean_chance(EVERYWHERE) == pytest.approx(again, abs=0.04)
    assert left.weights.sum() == pytest.approx(1)


@pytest.mark.parametrize("melt", [1, 3, 9])
@pytest.mark.parametrize("firings", [None, [1, 1, 2, 2, 3, 3, 4, 4, 5, 5]])
def test_the_draws_that_were_tried_give_the_posterior_without_the_melt_too(
    melt: int, firings: list[int] | None
) -> None:
    case = passes(SOME_PASSES, firings=firings)
    stage = fitted(case).stages[0]
    left = _from_tried(stage, _rows_of(stage.data, melt), 800, (1, 0, melt))
    assert left is not None
    again = without(case, melt).stages[0].chance_draws(EVERYWHERE).mean(axis=0)
    assert left.mean_chance(EVERYWHERE) == pytest.approx(again, abs=0.05)
    away = np.abs(stage.chance_draws(EVERYWHERE).mean(axis=0) - again).mean()
    assert np.abs(left.mean_chance(EVERYWHERE) - again).mean() < 0.5 * away


def test_where_the_draws_that_were_tried_do_not_reach_the_outcome_is_fitted_again() -> None:
    """Melt 5 lies thirty scatters off, so that hardly a draw is left where the others want it."""
    rng = np.random.default_rng(8)
    rows: list[Row] = [
        (f, WORDS[i % 2], 40 + f + float(rng.normal(0, 0.5))) for i, f in enumerate([10.0, 20, 30, 40, 15, 25, 35] * 2)
    ]
    rows[4] = (15.0, "tight", 70.0)
    case = fills(rows)
    chain = fitted(case)
    left = leave_out(chain, 0, 5)
    assert left.refitted
    assert left.k_hat > 0.7
    again = without(case, 5).stages[0].chance_draws(EVERYWHERE).mean(axis=0)
    assert left.mean_chance(EVERYWHERE) == pytest.approx(again, abs=0.05)


def test_measured_draws_without_a_melt_are_those_of_a_fit_without_it() -> None:
    rng = np.random.default_rng(3)
    rows: list[Row] = [
        (f, WORDS[i % 2], 60 + f * 0.8 + float(rng.normal(0, 3)))
        for i, f in enumerate([10.0, 20, 30, 40, 15, 25, 35] * 2)
    ]
    rows[4] = (15.0, "tight", 95.0)
    case = fills(rows)
    left = leave_out(fitted(case), 0, 5)
    again = without(case, 5).stages[0].chance_draws(EVERYWHERE).mean(axis=0)
    assert left.mean_chance(EVERYWHERE) == pytest.approx(again, abs=0.06)
    assert np.abs(fitted(case).stages[0].chance_draws(EVERYWHERE).mean(axis=0) - again).max() > 0.1


def test_melts_of_one_firing_left_out_one_at_a_time() -> None:
    firings = [1, 1, 2, 2, 3, 3, 4, 4, 5, 5]
    case = passes(SOME_PASSES, firings=firings)
    chain = fitted(case)
    assert chain.stages[0].data.groups is not None
    left = leave_out(chain, 0, 3)
    again = without(case, 3).stages[0].chance_draws(EVERYWHERE).mean(axis=0)
    assert left.mean_chance(EVERYWHERE) == pytest.approx(again, abs=0.05)


def test_a_melt_that_never_got_there_leaves_everything_as_it_is() -> None:
    solid = Outcome("solid", "pass", after="poured")
    series = MeltSeries("invented", (FLUX, PACKING), (POURED, solid), seed=5)
    entries = tuple(
        Entry(
            i,
            i,
            {"flux": flux, "packing": packing},
            {"poured": good, "solid": i % 3 > 0 if good else Unseen.NOT_REACHED},
        )
        for i, (flux, packing, good) in enumerate(SOME_PASSES, 1)
    )
    chain = fit_chain(series, Log(series, entries))
    left = leave_out(chain, 1, 1)
    assert (left.refitted, len(set(left.weights))) == (False, 1)
    assert sides_of_seen(chain, 1, 1, left).rows == ()


def test_the_one_melt_that_carries_the_recommendation_is_named() -> None:
    """All tight melts failed, wherever flux stood; the one edge melt was good."""
    rows: list[Row] = [(f, "tight", False) for f in (10.0, 20, 30, 40, 25, 15, 35, 20)]
    rows += [(30.0, "edge", True), (20.0, "edge", True)]
    series, log = passes(rows[:9])
    chain = fit_chain(series, log)
    found = influence(chain)
    assert found.best.settings["packing"] == "edge"
    by_melt = {one.melt: one for one in found.melts}
    assert by_melt[9].chance_at_present_best < found.best.chance - 0.1
    assert all(abs(by_melt[m].chance_at_present_best - found.best.chance) < 0.1 for m in range(1, 9))


def test_another_setting_is_recommended_without_a_decisive_melt() -> None:
    """Edge at much flux is preferred on the strength of melt 7 alone: no other edge was good."""
    rows: list[Row] = [
        (10, "tight", True), (30, "tight", True), (10, "edge", False), (20, "tight", False), (30, "tight", False),
        (40, "tight", False), (40, "edge", True),
    ]  # fmt: skip
    found = influence(fitted(passes(rows)))
    assert found.best.settings["packing"] == "edge"
    telling = next(one for one in found.melts if one.melt == 7)
    assert telling.other_setting
    assert telling.best.settings["packing"] == "tight"
    assert telling.best.chance > telling.chance_at_present_best + 0.05
    settled = [(f, "edge", True) for f in (10.0, 20, 30, 40)] + [(f, "tight", False) for f in (10.0, 20, 30, 40)]
    assert not any(one.other_setting for one in influence(fitted(passes(settled))).melts)


def test_the_verdict_changes_where_one_failure_keeps_the_target_from_being_reached() -> None:
    rows: list[Row] = [(25.0, "edge", True)] * 24 + [(25.0, "edge", False)]
    series, log = passes(rows)
    series = replace(series, target_chance=0.89)
    found = influence(fit_chain(series, Log(series, log.entries)))
    assert [one.melt for one in found.melts if one.verdict_changes] == [25]


def test_a_failure_among_many_successes_is_a_surprise_and_an_ordinary_melt_is_not() -> None:
    rows: list[Row] = [(f, WORDS[i % 2], True) for i, f in enumerate([10.0, 20, 30, 40] * 6)]
    rows[5] = (20.0, "edge", False)
    found = influence(fitted(passes(rows)))
    assert [one.entry.melt for one in found.surprises] == [6]
    assert found.surprises[0].side == "low"
    assert found.seen[-1].chance > 0.9
    assert 0 < found.surprises_expected < 2


def test_a_reading_far_off_is_a_surprise_on_its_side() -> None:
    rng = np.random.default_rng(1)
    rows: list[Row] = [
        (f, WORDS[i % 2], 60 + 0.5 * f + float(rng.normal(0, 1))) for i, f in enumerate([10.0, 20, 30, 40] * 4)
    ]
    rows[6] = (30.0, "tight", 92.0)
    found = influence(fitted(fills(rows)))
    assert found.seen[0].entry.melt == 7
    assert (found.seen[0].side, found.seen[0].surprising) == ("high", True)
    assert found.surprises_expected == pytest.approx(1.6, abs=0.2)


def test_grades_are_foretold_with_all_their_chances() -> None:
    outcome = Outcome("cracks", "grade", grades=("none", "hairline", "open"), good=("none",))
    series = MeltSeries("invented", (FLUX,), (outcome,), terms=(parse_term("flux"),), seed=5)
    words = ["none", "none", "hairline", "none", "hairline", "open", "open", "none", "hairline", "open"]
    entries = tuple(Entry(i, i, {"flux": 5.0 + 3 * i}, {"cracks": word}) for i, word in enumerate(words, 1))
    chain = fit_chain(series, Log(series, entries))
    sides = sides_of_seen(chain, 0, 3, leave_out(chain, 0, 3))
    assert sides.by_value is not None
    assert sides.by_value.sum(axis=1) == pytest.approx([1])
    assert sides.so_low + sides.so_high - sides.by_value[:, 1] == pytest.approx([1])


def test_all_castings_of_a_melt_leave_together() -> None:
    outcome = Outcome("sharp", "pass", seen_per="mould")
    series = MeltSeries("invented", (FLUX,), (outcome,), moulds_per_melt=3, terms=(parse_term("flux"),), seed=5)
    entries = tuple(
        Entry(melt, melt, {"flux": 5.0 + 5 * melt}, {"sharp": melt > 3}, mould=mould)
        for melt in range(1, 8)
        for mould in (1, 2, 3)
    )
    chain = fit_chain(series, Log(series, entries))
    left = leave_out(chain, 0, 4)
    assert len(sides_of_seen(chain, 0, 4, left).rows) == 3
    again = fit_chain(series, Log(series, tuple(e for e in entries if e.melt != 4))).stages[0]
    raw = np.array([[10.0], [25], [40]])
    assert left.mean_chance(raw) == pytest.approx(again.chance_draws(raw).mean(axis=0), abs=0.06)


def test_without_melts_there_is_nothing_to_leave_out() -> None:
    found = influence(fitted(passes([])))
    assert (found.melts, found.surprises) == ((), ())

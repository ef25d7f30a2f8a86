"""Proportional odds: against a general library, against closed forms, and in data too small for maximum likelihood."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import expit
from statsmodels.miscmodels.ordinal_model import OrderedModel

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.ordered_logit import ordered_logit
from meltdoe.fit.classical.proportional_odds import proportional_odds_test

CUTS = np.array([-1.0, 0.4, 1.8])


def grades(n: int, slopes: list[float], seed: int, cuts: np.ndarray = CUTS) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    X = rng.uniform(-1, 1, size=(n, len(slopes)))
    return X, np.searchsorted(cuts, X @ np.array(slopes) + rng.logistic(size=n))


# Eight castings that one factor parts without overlap, the third of four grades never seen.
SPLIT_X = np.array([[-1, -1], [-1, 1], [-1, -1], [-1, 1], [1, -1], [1, 1], [1, -1], [1, 1]], dtype=float)
SPLIT_Y = np.array([0, 0, 1, 1, 3, 3, 3, 3])


def test_maximum_likelihood_agrees_with_a_general_library() -> None:
    X, y = grades(90, [1.2, -0.7], seed=3)
    fit = ordered_logit(X, y, 4, penalty="none")
    reference = OrderedModel(y, X, distr="logit").fit(method="bfgs", disp=False, gtol=1e-9)
    assert fit.coef == pytest.approx(reference.params[:2], abs=1e-5)
    assert fit.se == pytest.approx(reference.bse[:2], abs=1e-4)
    thresholds = reference.model.transform_threshold_params(reference.params)[1:-1]
    assert fit.thresholds == pytest.approx(thresholds, abs=1e-5)
    assert fit.loglik == pytest.approx(reference.llf, abs=1e-8)
    assert fit.probabilities(X[:5]) == pytest.approx(reference.predict(X[:5]), abs=1e-6)


def test_penalised_shares_without_effects_add_one_casting_shared_by_all_grades() -> None:
    y = np.array([0, 0, 0, 1, 3, 3])
    fit = ordered_logit(np.zeros((6, 0)), y, 4, penalty="log-f")
    assert fit.probabilities(np.zeros((1, 0)))[0] == pytest.approx((np.array([3, 1, 0, 2]) + 0.25) / 7, abs=1e-8)


def test_penalty_on_slopes_is_that_of_two_half_failed_castings_a_column() -> None:
    """A log-F(2, 2) prior is the likelihood of one good and one bad casting at log odds b alone.

    With two grades the maximum is where the score of the augmented data vanishes.
    """
    X = np.array([[-1.0], [-1.0], [-1.0], [1.0], [1.0], [1.0]])
    y = np.array([0, 0, 1, 1, 1, 1])
    fit = ordered_logit(X, y, 2, penalty="log-f")
    k, b = fit.thresholds[0], fit.coef[0]
    bad = expit(X[:, 0] * b - k)
    shared = expit(-k)  # the casting at the mean setting, half of it bad
    assert np.sum(y - bad) + (0.5 - shared) == pytest.approx(0, abs=1e-6)
    assert X[:, 0] @ (y - bad) + (1 - 2 * expit(b)) == pytest.approx(0, abs=1e-6)


def test_separated_data_with_an_unseen_grade_have_finite_limits() -> None:
    fit = ordered_logit(SPLIT_X, SPLIT_Y, 4, names=["flux", "peak"])
    assert fit.penalty == "log-f"
    assert np.isfinite([fit.coef, fit.se, fit.low, fit.high]).all()
    assert fit.low[0] > 0
    assert fit.low[1] < 0 < fit.high[1]
    assert (np.diff(fit.thresholds) > 0).all()
    assert (fit.probabilities(SPLIT_X) > 0).all()
    assert fit.counts.tolist() == [2, 2, 0, 4]


def test_maximum_likelihood_refuses_separated_data_and_names_the_term() -> None:
    with pytest.raises(Inestimable) as caught:
        ordered_logit(SPLIT_X, SPLIT_Y, 4, penalty="none", names=["flux", "peak"])
    assert caught.value.terms == ("flux",)


def test_one_grade_only() -> None:
    y = np.zeros(8, dtype=int)
    with pytest.raises(Inestimable, match="same grade"):
        ordered_logit(SPLIT_X, y, 3, penalty="none")
    fit = ordered_logit(SPLIT_X, y, 3)
    assert fit.coef == pytest.approx([0, 0], abs=1e-6)
    assert fit.probabilities([[0, 0]])[0, 0] > 0.8


def test_unseen_grades_take_no_room_in_maximum_likelihood() -> None:
    X, y = grades(90, [1.2, -0.7], seed=3)
    spread = np.array([1, 2, 4, 6])[y]  # grades 0, 3, 5 and 7 of eight are never seen
    narrow, wide = (ordered_logit(X, g, j, penalty="none") for g, j in ((y, 4), (spread, 8)))
    assert wide.coef == pytest.approx(narrow.coef)
    assert wide.se == pytest.approx(narrow.se)
    k = narrow.thresholds
    assert wide.thresholds == pytest.approx([-np.inf, k[0], k[1], k[1], k[2], k[2], np.inf])
    assert np.isnan(wide.threshold_se[[0, -1]]).all()
    assert wide.probabilities(X)[:, [1, 2, 4, 6]] == pytest.approx(narrow.probabilities(X))
    assert wide.probabilities(X)[:, [0, 3, 5, 7]] == pytest.approx(np.zeros((90, 4)))
    chance, low, high = wide.at_most(0, X[:2])
    assert [chance.tolist(), low.tolist(), high.tolist()] == [[0, 0], [0, 0], [1, 1]]


def test_weights_are_repeats() -> None:
    X, y = grades(12, [1.0], seed=5)
    counts = np.array([1, 2, 3] * 4)
    weighted = ordered_logit(X, y, 4, weights=counts)
    repeated = ordered_logit(np.repeat(X, counts, axis=0), np.repeat(y, counts), 4)
    assert weighted.coef == pytest.approx(repeated.coef, abs=1e-7)
    assert weighted.high == pytest.approx(repeated.high, abs=1e-5)
    # A row without weight is a row that is not there.
    without = ordered_logit(np.vstack([X, [[9.0]]]), np.append(y, 0), 4, weights=[*counts, 0])
    assert without.coef == pytest.approx(weighted.coef, abs=1e-7)


def test_limits_lie_where_the_profile_has_fallen_by_the_quantile() -> None:
    X, y = grades(90, [1.2], seed=3)
    fit = ordered_logit(X, y, 4, penalty="none", level=0.90)
    for limit in (fit.low[0], fit.high[0]):
        fall = fit.loglik - _loglik_at_fixed_slope(X[:, 0], y, limit)
        assert 2 * fall == pytest.approx(2.705543, abs=1e-3)  # chi-square, 1 df, 90 %


def _loglik_at_fixed_slope(x: np.ndarray, y: np.ndarray, slope: float) -> float:
    def minus(parameters: np.ndarray) -> float:
        cuts = np.cumsum(np.append(parameters[0], np.exp(parameters[1:])))
        below = np.hstack([np.zeros((x.size, 1)), expit(cuts - slope * x[:, None]), np.ones((x.size, 1))])
        return -float(np.sum(np.log(below[np.arange(x.size), y + 1] - below[np.arange(x.size), y])))

    return -float(minimize(minus, np.array([-1.0, 0.0, 0.0]), method="BFGS").fun)


def test_ninety_percent_limits_cover_in_small_series() -> None:
    """12 castings, 60 simulated series: 0.90 within three standard errors; a third of the width fails."""
    rng = np.random.default_rng(8)
    truth = 1.2
    inside, shrunk = [], []
    for _ in range(60):
        X = np.repeat([[-1.0], [1.0]], 6, axis=0)
        y = np.searchsorted(CUTS, X[:, 0] * truth + rng.logistic(size=12))
        fit = ordered_logit(X, y, 4)
        inside.append(fit.low[0] <= truth <= fit.high[0])
        shrunk.append(abs(fit.coef[0] - truth) <= (fit.high[0] - fit.low[0]) / 6)
    assert 0.82 < np.mean(inside) < 0.98
    assert np.mean(shrunk) < 0.75


def test_far_settings_keep_their_digits() -> None:
    X = np.array([[-1.0], [-1.0], [1.0], [1.0], [60.0]])
    fit = ordered_logit(X, [0, 1, 1, 2, 2], 3)
    assert np.isfinite(fit.loglik)
    assert fit.probabilities([[60.0]]).sum() == pytest.approx(1)


def test_at_most_brackets_the_chance() -> None:
    X, y = grades(40, [1.0, 0.0], seed=2)
    fit = ordered_logit(X, y, 4)
    chance, low, high = fit.at_most(1, X)
    assert chance == pytest.approx(fit.probabilities(X)[:, :2].sum(axis=1))
    assert (low < chance).all()
    assert (chance < high).all()
    wider = fit.at_most(1, X, level=0.99)
    assert (wider[1] < low).all()


def test_proportional_odds_test_finds_slopes_that_differ() -> None:
    rng = np.random.default_rng(4)
    x = rng.uniform(-1, 1, 600)
    pull = rng.logistic(size=600)
    y = (pull + 2.5 * x > -0.8).astype(int) + (pull - 0.2 * x > 1.2)
    test = proportional_odds_test(x[:, None], y, 3, names=["peak"])
    assert test.terms == ("peak",)
    assert test.df == 1
    assert test.p_value < 1e-6


def test_proportional_odds_test_says_why_it_cannot_be_made() -> None:
    small = proportional_odds_test(SPLIT_X, SPLIT_Y, 4)
    assert np.isnan(small.p_value)
    assert "too few castings" in small.reason
    two = proportional_odds_test(SPLIT_X, np.array([0, 3] * 4), 4)
    assert two.df == 0
    assert "fewer than three" in two.reason


def test_columns_that_tell_nothing_are_named() -> None:
    X = np.column_stack([SPLIT_X, np.ones(8)])
    with pytest.raises(Inestimable) as caught:
        ordered_logit(X, SPLIT_Y, 4, names=["flux", "peak", "hold"])
    assert caught.value.terms == ("hold",)
    X[:, 2] = SPLIT_X[:, 0] - SPLIT_X[:, 1]
    with pytest.raises(Inestimable) as caught:
        ordered_logit(X, SPLIT_Y, 4, names=["flux", "peak", "hold"])
    assert set(caught.value.terms) == {"flux", "peak", "hold"}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"y": [0, 1, 2, 3, 4, 0, 1, 2]}, "whole numbers"),
        ({"y": [0, 1, 0.5, 0, 1, 0, 1, 2]}, "whole numbers"),
        ({"y": [0, 1]}, "must be"),
        ({"n_grades": 1, "y": [0] * 8}, "at least two"),
        ({"weights": [-1] * 8}, "weights"),
        ({"level": 90}, "level"),
        ({"penalty": "strong"}, "penalty"),
        ({"X": np.full((8, 2), np.nan)}, "finite"),
    ],
)
def test_bad_input(change: dict[str, object], says: str) -> None:
    call = {"X": SPLIT_X, "y": SPLIT_Y, "n_grades": 4} | change
    with pytest.raises(ValueError, match=says):
        ordered_logit(**call)  # type: ignore[arg-type]

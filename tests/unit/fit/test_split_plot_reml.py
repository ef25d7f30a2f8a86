"""Split plots: against a general library, against exact strata, and what they cannot tell."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.kenward_roger import small_sample
from meltdoe.fit.classical.least_squares import least_squares
from meltdoe.fit.classical.split_plot_reml import split_plot

FIRING = np.repeat(np.arange(6), 3)
PEAK = np.where(FIRING % 2, 1.0, -1.0)
FLUX = np.tile([-1.0, 0.0, 1.0], 6)
X = np.column_stack([np.ones(18), PEAK, FLUX])


def outcome(seed: int, firing_scatter: float = 1.5) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return 5 + PEAK + 2 * FLUX + firing_scatter * rng.normal(size=6)[FIRING] + rng.normal(size=18)


def test_components_agree_with_a_general_library_on_lost_melts() -> None:
    kept = np.delete(np.arange(18), [2, 7, 8, 15])
    y = outcome(3)[kept]
    fit = split_plot(X[kept], y, FIRING[kept])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own notes on convergence
        reference = MixedLM(y, X[kept], FIRING[kept]).fit(reml=True, method="bfgs", gtol=1e-10)
    assert fit.components["residual"] == pytest.approx(reference.scale, rel=1e-4)
    assert fit.components["firing"] == pytest.approx(float(np.squeeze(reference.cov_re)), rel=1e-4)
    assert fit.coef == pytest.approx(reference.fe_params, abs=1e-5)
    plain = np.sqrt(np.diag(fit.small_sample.plain))
    # The library takes its standard errors from a joint second derivative, close to but not the same as (X'V^-1 X)^-1.
    assert plain == pytest.approx(reference.bse_fe, rel=5e-3)
    assert (fit.se > plain).all()


def test_balanced_data_give_the_exact_strata() -> None:
    """Effects set per firing are judged by firing means on 4 df, the others within firings on 11 df."""
    y = outcome(4)
    fit = split_plot(X, y, FIRING)
    means = least_squares(X[::3, :2], y.reshape(6, 3).mean(axis=1))
    inside = least_squares(np.hstack([np.eye(6)[FIRING], FLUX[:, None]]), y)
    assert fit.df == pytest.approx([4, 4, 11])
    assert fit.coef == pytest.approx([*means.coef, inside.coef[-1]])
    assert fit.se == pytest.approx([*means.se, inside.se[-1]])
    assert fit.p_values == pytest.approx([*means.p_values, inside.p_values[-1]])
    assert fit.low == pytest.approx([*means.low, inside.low[-1]])
    assert fit.components["residual"] == pytest.approx(inside.sigma**2)
    assert fit.components["firing"] == pytest.approx(means.sigma**2 - inside.sigma**2 / 3)


def test_limits_of_components_bracket_them_and_widen_with_the_level() -> None:
    fit, wide = (split_plot(X, outcome(4), FIRING, level=level) for level in (0.90, 0.99))
    for name, value in fit.components.items():
        assert 0 < wide.component_low[name] < fit.component_low[name] < value
        assert value < fit.component_high[name] < wide.component_high[name]
    # On the residual's 11 df the chi-square limits are exact: 11 s / 19.675 and 11 s / 4.575.
    s = fit.components["residual"]
    assert [fit.component_low["residual"], fit.component_high["residual"]] == pytest.approx(
        [11 * s / 19.67514, 11 * s / 4.574813], rel=1e-5
    )


def test_zero_component_falls_back_to_least_squares_and_says_so() -> None:
    y = 5 + PEAK + 2 * FLUX + np.tile([-1.0, 2.0, -1.0], 6) + np.repeat([0.1, -0.1, 0.0, 0.1, -0.1, 0.0], 3)
    fit, plain = split_plot(X, y, FIRING), least_squares(X, y)
    assert fit.singular
    assert "estimated as zero" in fit.notes[0]
    assert fit.components["firing"] == 0.0
    assert (fit.component_low["firing"], fit.component_high["firing"]) == (0.0, np.inf)
    assert fit.coef == pytest.approx(plain.coef)
    assert fit.se == pytest.approx(plain.se)
    assert fit.df == pytest.approx([15.0] * 3)
    kept = split_plot(X, y, FIRING, zero="keep")
    assert kept.singular
    # Kept, the firings still set the degrees of freedom of what is set per firing.
    assert kept.df == pytest.approx([4, 4, 11])
    assert np.isfinite(kept.high).all()


def test_ninety_percent_limits_cover_for_what_is_set_per_firing() -> None:
    """120 series: 0.90 within three standard errors, where least squares that ignores firings must fail."""
    hits, ignoring = [], []
    for seed in range(120):
        y = outcome(1000 + seed)
        fit, plain = split_plot(X, y, FIRING), least_squares(X, y)
        hits.append((fit.low <= [5, 1, 2]) & (fit.high >= [5, 1, 2]))
        ignoring.append(plain.low[1] <= 1 <= plain.high[1])
    assert (np.abs(np.mean(hits, axis=0) - 0.90) < 0.083).all()
    assert np.mean(ignoring) < 0.80


def test_labels_nest_in_blocks_or_cross() -> None:
    y = outcome(5)
    block, inner = np.repeat([1, 2, 3], 6), np.tile(np.repeat([1, 2], 3), 3)
    nested = split_plot(X, y, inner, blocks=block)
    assert nested.components == pytest.approx(split_plot(X, y, {"block": block, "firing": FIRING}).components)
    mould = np.tile([1, 2, 3], 6)
    crossed = split_plot(X[:, :2], y, {"firing": FIRING, "mould": mould})
    assert list(crossed.components) == ["firing", "mould", "residual"]
    # The mould carries the slope of flux here, twice the flux of -1, 0, 1: variance near 4.
    assert crossed.components["mould"] > 1
    with pytest.raises(ValueError, match="not both"):
        split_plot(X, y, {"block": block}, blocks=block)


def test_restricted_likelihood_is_highest_at_the_estimate() -> None:
    """Written out anew: no grid point of both components lies above the one found."""
    y = outcome(6)
    fit = split_plot(X, y, FIRING)
    same = (FIRING[:, None] == FIRING).astype(float)

    def loglik(firing: float, residual: float) -> float:
        V = firing * same + residual * np.eye(18)
        inner = X.T @ np.linalg.solve(V, X)
        r = y - X @ np.linalg.solve(inner, X.T @ np.linalg.solve(V, y))
        logs = np.linalg.slogdet(V)[1] + np.linalg.slogdet(inner)[1] + 15 * np.log(2 * np.pi)
        return -0.5 * float(logs + r @ np.linalg.solve(V, r))

    a, b = fit.components["firing"], fit.components["residual"]
    assert fit.loglik == pytest.approx(loglik(a, b))
    assert max(loglik(a * s, b * t) for s in (0.0, 0.5, 0.98, 1, 1.02, 2) for t in (0.5, 0.98, 1, 1.02, 2)) == (
        pytest.approx(fit.loglik)
    )


def test_estimate_of_a_setting_has_its_own_degrees_of_freedom() -> None:
    fit = split_plot(X, outcome(4), FIRING)
    value, se, df, low, high = fit.estimate([[1, 1, 0], [0, 0, 1]])
    assert value == pytest.approx([fit.coef[0] + fit.coef[1], fit.coef[2]])
    assert se[1] == pytest.approx(fit.se[2])
    assert df == pytest.approx([4, 11])
    assert low == pytest.approx(value - (high - low) / 2)
    test = fit.contrast_test([0, 1, 0])
    assert test.statistic == pytest.approx(fit.t[1] ** 2)
    assert test.p_value == pytest.approx(fit.p_values[1])


def test_one_component_reduces_to_least_squares() -> None:
    y = outcome(7)
    plain = least_squares(X, y)
    small = small_sample(X, [np.eye(18)], np.array([plain.sigma**2]))
    assert small.adjusted == pytest.approx(plain.covariance)
    L = np.eye(3)[1:]
    test, exact = small.f_test(L, plain.coef), plain.contrast_test(L)
    assert test.scale == pytest.approx(1.0)
    assert test.df_error == pytest.approx(15)
    assert test.p_value == pytest.approx(exact.p_value)


def test_adjusted_covariance_by_numerical_derivatives() -> None:
    """Kenward and Roger's correction of Phi equals minus the sum of W_rs times its second derivatives."""
    kept = np.delete(np.arange(18), [2, 7, 8, 15])
    design, parts = X[kept], [(FIRING[kept][:, None] == FIRING[kept]).astype(float), np.eye(14)]
    at = np.array([1.5, 0.8])
    small = small_sample(design, parts, at)

    def phi(components: np.ndarray) -> np.ndarray:
        V = components[0] * parts[0] + components[1] * parts[1]
        return np.linalg.inv(design.T @ np.linalg.solve(V, design))

    step = 1e-3 * np.eye(2)
    expected = phi(at)
    for r in range(2):
        for s in range(2):
            bend = sum(a * b * phi(at + a * step[r] + b * step[s]) for a in (1, -1) for b in (1, -1)) / 4e-6
            expected = expected - small.component_covariance[r, s] * bend
            slope = (phi(at + step[r]) - phi(at - step[r])) / 2e-3
            assert -small.spread[r] == pytest.approx(slope, abs=1e-5)
    assert small.adjusted == pytest.approx(expected, abs=1e-5)
    assert np.abs(small.adjusted - small.plain).max() > 1e-3


@pytest.mark.parametrize("scale", [1e-6, 1e6])
@pytest.mark.parametrize("firing_scatter", [0.01, 1.0, 100.0, 1e4])
def test_components_in_any_unit_and_of_very_different_size(scale: float, firing_scatter: float) -> None:
    y = scale * outcome(11, firing_scatter)
    fit = split_plot(X, y, FIRING)
    means = least_squares(X[::3, :2], y.reshape(6, 3).mean(axis=1))
    inside = least_squares(np.hstack([np.eye(6)[FIRING], FLUX[:, None]]), y)
    strata = means.sigma**2 - inside.sigma**2 / 3
    if strata > 0:
        assert fit.components["firing"] == pytest.approx(strata, rel=1e-4)
        assert fit.df == pytest.approx([4, 4, 11], rel=1e-4)
    else:
        assert fit.singular


@pytest.mark.parametrize("firings", [3, 4, 5, 6, 7])
def test_several_contrasts_of_firings_keep_exact_degrees_of_freedom(firings: int) -> None:
    """Two contrasts on 1 to 5 df between firings; the published formulas divide by zero at 2 and at 4."""
    rng = np.random.default_rng(9)
    n = firings + 2
    groups = np.repeat(np.arange(n), 2)
    table = np.column_stack([np.ones(n), rng.normal(size=(n, 2))])
    between = table[groups]
    flux = np.tile([-1.0, 1.0], n)
    y = 3 * rng.normal(size=n)[groups] + rng.normal(size=2 * n)
    fit = split_plot(np.column_stack([between, flux]), y, groups)
    means = least_squares(table, y.reshape(n, 2).mean(axis=1))
    assert not fit.singular
    test, exact = fit.contrast_test(np.eye(4)[1:3]), means.contrast_test(np.eye(3)[1:])
    assert test.df_error == pytest.approx(n - 3, rel=1e-5)
    assert test.statistic == pytest.approx(exact.statistic, rel=1e-4)


def test_what_it_refuses() -> None:
    y = outcome(8)
    with pytest.raises(Inestimable, match="every firing held one row"):
        split_plot(X, y, np.arange(18))
    with pytest.raises(Inestimable, match="the terms tell every firing from every other"):
        split_plot(np.column_stack([np.eye(6)[FIRING], FLUX]), y, FIRING)
    with pytest.raises(Inestimable, match="cannot be told apart"):
        split_plot(X, y, {"firing": FIRING, "crucible": FIRING + 10})
    with pytest.raises(Inestimable, match="nothing over"):
        split_plot(X[[0, 3, 4]], y[:3], [1, 2, 2])
    with pytest.raises(Inestimable, match="no scatter"):
        split_plot(X, 3 + PEAK, FIRING)
    with pytest.raises(Inestimable, match="agree exactly"):
        split_plot(X, FIRING.astype(float), FIRING)
    with pytest.raises(Inestimable) as caught:
        split_plot(np.column_stack([X, PEAK]), y, FIRING, names=["constant", "peak", "flux", "hold"])
    assert set(caught.value.terms) == {"peak", "hold"}
    with pytest.raises(ValueError, match="one label a row"):
        split_plot(X, y, FIRING[:4])
    with pytest.raises(ValueError, match="zero"):
        split_plot(X, y, FIRING, zero="ignore")  # type: ignore[arg-type]

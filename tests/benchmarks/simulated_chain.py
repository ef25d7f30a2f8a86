"""Whole logs simulated, fitted by `fit_chain` as the commands do, and judged. All series are invented.

Four factors: two amounts at two levels, one at three, a choice of three options. Either three pass/fail outcomes in a
row, judged by the chance that all are good, or one measured outcome, whose typical value and spread the program takes
from the melts. Truths are drawn from the program's prior of main effects, products and squares, which are the terms
that its predictions average over, or from that of main effects alone.
"""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtr

from meltdoe.fit.model.inclusion_prior import TermRoles
from meltdoe.fit.model.prior import ShapePrior
from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, Choice, GoodRange, MeltSeries, Outcome, Seen, Unseen, cross_terms, main_terms
from meltdoe.series.outcome import OutcomeKind
from meltdoe.series.terms import square_terms

from .coverage_scores import ROUNDING, Played
from .rival_classifiers import rival_chances
from .simulated_stage import true_coefficients

__all__ = ["play_measured", "play_passes"]

Array = NDArray[np.float64]

_FACTORS = (
    Amount("flux", 15, 40, unit="wt%"),
    Amount("hold", 1, 5, unit="h"),
    Amount("peak", 1150, 1250, unit="°C"),
    Choice("packing", ("tight", "edge", "loose")),
)
_LEVELS = ((15.0, 40.0), (1.0, 5.0), (1150.0, 1200.0, 1250.0), (0.0, 1.0, 2.0))
_MAIN, _SECOND = main_terms(_FACTORS), (*cross_terms(_FACTORS), *square_terms(_FACTORS))
_PASSES = (
    Outcome("contained", "pass"),
    Outcome("filled", "pass", after="contained"),
    Outcome("whole", "pass", after="filled"),
)
_FILL = Outcome("fill", "measured", unit="%", bounds=(0, 100), good=GoodRange(low=75))
_CENTRE, _SCALE = 50.0, 25.0  # of the true values: the middle of the bounds and a quarter of their distance
_FRESH = 50


def play_passes(
    n: int, seed: tuple[int, ...], *, straight: bool = False, half_noted: int = 0, rivals: bool = False
) -> Played:
    """n melts of three pass/fail outcomes in a row.

    Parameters
    ----------
    straight : whether the truth has main effects alone.
    half_noted : first melts of which every other setting, by lot, is unknown to the fit.
    rivals : whether other classifiers are fitted to "all three good".
    """
    series = MeltSeries("invented", _FACTORS, _PASSES)
    rng = np.random.default_rng(seed)
    raw, fresh = _settings(n, rng)
    true, slopes, seen = np.ones(_FRESH), [], []
    for _ in _PASSES:
        coef, eta, fresh_eta = _world(series, raw, fresh, straight, rng)
        slopes.append(coef)
        seen.append(rng.random(n) < expit(eta))
        true = true * expit(fresh_eta)
    passed = np.logical_and.accumulate(seen, axis=0)
    entries = []
    for i in range(n):
        row: dict[str, Seen] = {
            outcome.name: bool(passed[s, i]) if s == 0 or passed[s - 1, i] else Unseen.NOT_REACHED
            for s, outcome in enumerate(_PASSES)
        }
        settings = series.settings(raw[i])
        if i < half_noted:
            settings = {name: value for name, value in settings.items() if rng.random() < 0.5}
        entries.append(Entry(i + 1, i + 1, settings, row))
    chain, seconds = _timed(series, entries)
    matrix = series.coding.matrix
    rival = rival_chances(matrix(_MAIN, raw), passed[-1].astype(float), matrix(_MAIN, fresh)) if rivals else {}
    return _judged(chain, fresh, true, slopes, 1.0, seconds, rng, rival)


def play_measured(n: int, seed: tuple[int, ...]) -> Played:
    """n melts of one measured outcome with bounds."""
    series = MeltSeries("invented", _FACTORS, (_FILL,))
    rng = np.random.default_rng(seed)
    raw, fresh = _settings(n, rng)
    sigma = float(np.exp(rng.normal(*ShapePrior().log_sigma)))
    coef, eta, fresh_eta = _world(series, raw, fresh, False, rng, sigma)
    values = np.clip(_CENTRE + _SCALE * (eta + sigma * rng.standard_normal(n)), 0.0, 100.0)
    entries = [
        Entry(i + 1, i + 1, series.settings(raw[i]), {_FILL.name: float(value)}) for i, value in enumerate(values)
    ]
    chain, seconds = _timed(series, entries)
    true = ndtr((fresh_eta - (75.0 - _CENTRE) / _SCALE) / sigma)
    return _judged(chain, fresh, true, [coef], _SCALE, seconds, rng, {})


def _settings(n: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """Raw settings of balanced columns (n, 4), and fresh ones uniform over the region."""
    raw = np.column_stack([rng.permutation(np.resize(levels, n)) for levels in _LEVELS])
    amounts = [rng.uniform(factor.low, factor.high, _FRESH) for factor in _FACTORS if isinstance(factor, Amount)]
    return raw, np.column_stack([*amounts, rng.integers(0, 3, _FRESH)])


def _world(
    series: MeltSeries, raw: Array, fresh: Array, straight: bool, rng: np.random.Generator, sigma: float | None = None
) -> tuple[Array, Array, Array]:
    """True slopes of the main effects, and the linear predictor at both tables; `sigma` of a measured outcome."""
    terms = _MAIN if straight else (*_MAIN, *_SECOND)
    names = series.factor_names
    by_column = series.coding.column_terms(terms)
    members = tuple(() if term is None else tuple(names.index(name) for name in term.factors) for term in by_column)
    orders = tuple(0 if term is None else term.order for term in by_column)
    kind: OutcomeKind = "pass" if sigma is None else "measured"
    roles = TermRoles(members, orders)
    coef = true_coefficients(roles, kind, "prior", rng) * np.where(roles.per_sigma(kind), sigma or 1.0, 1.0)
    matrix = series.coding.matrix
    return coef[1 : 1 + _main_width(series)], matrix(terms, raw) @ coef, matrix(terms, fresh) @ coef


def _main_width(series: MeltSeries) -> int:
    return sum(series.coding.width(term) for term in _MAIN)


def _timed(series: MeltSeries, entries: list[Entry]) -> tuple[ChainFit, float]:
    start = time.process_time()
    chain = fit_chain(series, Log(series, tuple(entries)))
    return chain, time.process_time() - start


def _judged(
    chain: ChainFit,
    fresh: Array,
    true: Array,
    slopes: list[Array],
    scale: float,
    seconds: float,
    rng: np.random.Generator,
    rivals: dict[str, Array],
) -> Played:
    table = chain.chance(fresh)
    inside = []
    for stage, coef in zip(chain.stages, slopes, strict=True):
        # Products and squares stand behind the main effects.
        draws = stage.posterior.coef[:, 1 : 1 + coef.size]
        low, high = stage.posterior.interval(draws, chain.level)
        inside.append((low <= scale * coef) & (scale * coef <= high))
    return Played(
        slopes=np.concatenate(inside),
        chances=(table.low - ROUNDING <= true) & (true <= table.high + ROUNDING),
        stated=table.mean,
        true=true,
        seen=(rng.random(true.size) < true).astype(float),
        seconds=seconds,
        rivals=rivals,
    )

"""One outcome simulated, fitted as the program fits it, and judged.

Settings: three to six factors. Each but the last has two levels, balanced; the last has two levels, three levels, is
continuous, or is a choice of three options (two columns that share a factor). In one series of three the product of
the first two factors is in the model. Fresh settings are uniform over the region.

Truths are drawn from the program's own prior, read from the objects that hold it, or from elsewhere. Two start from
plain worlds, in which four factors of ten are active and no series is steeper than another:

    twice as large      slopes of a plain world, times two
    one extreme         slopes of a plain world, but +-6 for the first factor: three sds of a factor that matters
    nothing matters     all slopes exactly zero
    twice its tails     slopes from the program's prior with its steep series, times two
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtr

from meltdoe.fit.draws.inclusion_mixture import mixture_posterior
from meltdoe.fit.draws.posterior_draws import Posterior
from meltdoe.fit.model.inclusion_prior import InclusionPrior, SeriesClass, TermRoles
from meltdoe.fit.model.likelihood import Observed
from meltdoe.fit.model.prior import ShapePrior
from meltdoe.series.coding import contrasts
from meltdoe.series.outcome import OutcomeKind

from .coverage_scores import ROUNDING, Played
from .rival_classifiers import rival_chances

__all__ = ["OUTSIDE", "Fit", "Table", "TruthKind", "play_stage", "program_fit", "simulated_table", "true_coefficients"]

Array = NDArray[np.float64]
TruthKind: TypeAlias = Literal["prior", "twice as large", "one extreme", "nothing matters", "twice its tails"]
OUTSIDE: tuple[TruthKind, ...] = ("twice as large", "one extreme", "nothing matters", "twice its tails")

_FRESH = 50
_LEVEL = 0.90
_EXTREME = 6.0
_DRAWS = 2000  # as `fit_chain` asks for
_GRADES = 4
_BOUNDS = (0.0, 100.0)
_GOOD = (75.0, 100.0)
_PLAIN = (SeriesClass(1.0, 0.4),)
_CENTRE, _SCALE = 50.0, 25.0  # what the fit takes by itself where the bounds are 0 and 100


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Settings of a series.

    Attributes
    ----------
    X, fresh : (n, p) and (m, p) model matrices of the melts and of the fresh settings, first column ones.
    roles : which factors each column is made of, and the order of its term.
    """

    X: Array
    fresh: Array
    roles: TermRoles


Fit: TypeAlias = Callable[[Table, Array, OutcomeKind, Observed, int], Posterior]


def program_fit(table: Table, y: Array, kind: OutcomeKind, observed: Observed, seed: int) -> Posterior:
    """The posterior as the program calls it."""
    roles = table.roles
    return mixture_posterior(
        table.X, y, kind, factors=roles.factors, orders=roles.orders, seed=seed, draws=_DRAWS, **observed
    ).posterior


def simulated_table(n: int, rng: np.random.Generator) -> Table:
    """Random settings of n melts, and fresh ones."""
    k = int(rng.integers(3, 7))
    columns = [rng.permutation(np.resize([-1.0, 1.0], n)) for _ in range(k - 1)]
    fresh = [rng.uniform(-1.0, 1.0, _FRESH) for _ in range(k - 1)]
    factors: list[tuple[int, ...]] = [(), *((j,) for j in range(k))]
    last = rng.choice(["two", "three", "continuous", "choice"])
    if last == "choice":
        three = contrasts(3)
        columns += list(three[rng.permutation(np.resize([0, 1, 2], n))].T)
        fresh += list(three[rng.integers(0, 3, _FRESH)].T)
        factors.append((k - 1,))
    else:
        levels = {"two": [-1.0, 1.0], "three": [-1.0, 0.0, 1.0]}.get(str(last))
        columns.append(rng.uniform(-1.0, 1.0, n) if levels is None else rng.permutation(np.resize(levels, n)))
        fresh.append(rng.uniform(-1.0, 1.0, _FRESH))
    if rng.random() < 1 / 3:
        columns.append(columns[0] * columns[1])
        fresh.append(fresh[0] * fresh[1])
        factors.append((0, 1))
    roles = TermRoles(tuple(factors), tuple(len(f) for f in factors))
    return Table(np.column_stack([np.ones(n), *columns]), np.column_stack([np.ones(_FRESH), *fresh]), roles)


def true_coefficients(roles: TermRoles, kind: OutcomeKind, truth: TruthKind, rng: np.random.Generator) -> Array:
    """(p,) coefficients of a possible world; of a measured outcome at sigma = 1 (`TermRoles.per_sigma`)."""
    prior = InclusionPrior() if truth in ("prior", "twice its tails") else InclusionPrior(classes=_PLAIN)
    scales, k = prior.scales(roles.n_factors), roles.n_factors
    chances = np.array([np.exp(chance) for scale in scales for chance in scale.log_chances])
    sizes, share = [(scale.sizes, share) for scale in scales for share in scale.active][
        rng.choice(len(chances), p=chances / chances.sum())
    ]
    coef = roles.sds(sizes, rng.random((1, k)) < share, kind)[0] * rng.standard_normal(len(roles.factors))
    if truth in ("twice as large", "twice its tails"):
        coef[1:] *= 2.0
    elif truth == "one extreme":
        coef[1] = rng.choice([-_EXTREME, _EXTREME])
    elif truth == "nothing matters":
        coef[1:] = 0.0
    return np.asarray(coef)


def play_stage(
    kind: OutcomeKind,
    truth: TruthKind,
    n: int,
    seed: tuple[int, ...],
    *,
    per_firing: int = 1,
    rivals: bool = False,
    fit: Fit = program_fit,
) -> Played:
    """Simulate n melts of one outcome, fit them, and look whether the intervals hold the truth.

    Parameters
    ----------
    truth : where the true coefficients come from; all other parameters come from the prior.
    per_firing : melts that share a firing; above 1 firings have an effect of their own (pass/fail only).
    rivals : whether other classifiers are fitted as well (pass/fail only).
    fit : what makes the posterior of the outcomes; put something wrong here to see it caught.
    """
    rng = np.random.default_rng(seed)
    table = simulated_table(n, rng)
    coef = true_coefficients(table.roles, kind, truth, rng)
    sigma = float(np.exp(rng.normal(*ShapePrior().log_sigma))) if kind == "measured" else 1.0
    coef = np.where(table.roles.per_sigma(kind), sigma * coef, coef)
    eta, fresh_eta = table.X @ coef, table.fresh @ coef
    if kind == "pass":
        world = _passes(eta, fresh_eta, per_firing, rng)
    elif kind == "grade":
        world = _grades(eta, fresh_eta, rng)
    else:
        world = _measurements(eta, fresh_eta, sigma, rng)

    start = time.process_time()
    posterior = fit(table, world.y, kind, world.observed, int(rng.integers(2**31)))
    seconds = time.process_time() - start
    low, high = _interval(posterior.coef[:, 1:])
    slopes = world.scale * coef[1:]
    chance = posterior.chance(table.fresh, world.good, new_group=True)
    judged, sought = chance, world.true
    if kind == "measured":
        # The same intervals seen through the normal quantile: most chances are within rounding of 0 or 1.
        judged = (posterior.linear(table.fresh) - _GOOD[0]) / np.exp(posterior.shape)
        sought = world.margin
    lowest, highest = _interval(judged)
    return Played(
        slopes=(low <= slopes) & (slopes <= high),
        chances=(lowest - ROUNDING <= sought) & (sought <= highest + ROUNDING),
        stated=chance.mean(axis=0),
        true=world.true,
        seen=(rng.random(_FRESH) < world.true).astype(float),
        seconds=seconds,
        rivals=rival_chances(table.X, world.y, table.fresh) if rivals else {},
    )


@dataclass(frozen=True, slots=True, eq=False)
class _World:
    """What was seen of the melts, and the truth at the fresh settings.

    Attributes
    ----------
    y, observed : outcomes, and what the fit is told beside them.
    good : which values are good; None for pass/fail.
    true : (m,) true chances of good.
    scale : unit of the slopes.
    margin : (m,) true distance of the mean from the least good value, in residual sds (measured only).
    """

    y: Array
    observed: Observed
    good: tuple[float, ...] | None
    true: Array
    scale: float = 1.0
    margin: Array = field(default_factory=lambda: np.empty(0))


def _passes(eta: Array, fresh_eta: Array, per_firing: int, rng: np.random.Generator) -> _World:
    if per_firing == 1:
        return _World((rng.random(eta.size) < expit(eta)).astype(float), Observed(), None, expit(fresh_eta))
    groups = np.arange(eta.size) // per_firing
    sd = float(np.exp(rng.normal(*ShapePrior().log_group_sd)))
    eta = eta + sd * rng.standard_normal(groups.max() + 1)[groups]
    nodes, weights = np.polynomial.hermite_e.hermegauss(21)
    true = expit(fresh_eta[:, None] + sd * nodes) @ weights / weights.sum()
    return _World((rng.random(eta.size) < expit(eta)).astype(float), Observed(groups=groups), None, true)


def _grades(eta: Array, fresh_eta: Array, rng: np.random.Generator) -> _World:
    gaps = np.exp(rng.normal(*ShapePrior().log_gap, size=_GRADES - 2))
    thresholds = np.concatenate([[0.0], np.cumsum(gaps)])
    y = (rng.random((eta.size, 1)) > expit(thresholds - eta[:, None])).sum(axis=1).astype(float)
    return _World(y, Observed(n_grades=_GRADES), (0, 1), expit(thresholds[1] - fresh_eta))


def _measurements(eta: Array, fresh_eta: Array, sigma: float, rng: np.random.Generator) -> _World:
    y = np.clip(_CENTRE + _SCALE * (eta + sigma * rng.standard_normal(eta.size)), *_BOUNDS)
    # What piles up at the upper bound is good.
    margin = (fresh_eta - (_GOOD[0] - _CENTRE) / _SCALE) / sigma
    return _World(y, Observed(bounds=_BOUNDS), _GOOD, ndtr(margin), _SCALE, margin)


def _interval(draws: Array) -> tuple[Array, Array]:
    """Ends of the central interval of equally weighted draws (S, ...), as `ChainFit.chance` takes them."""
    low, high = np.quantile(draws, [(1 - _LEVEL) / 2, (1 + _LEVEL) / 2], axis=0)
    return low, high

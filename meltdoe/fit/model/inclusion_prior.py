"""The prior that lets few factors matter much: kinds of series, and scales of effects by pattern of active factors.

Each factor is either active or not. On the scale of log odds a main effect is N(0, 2^2) where its factor is active and
N(0, 0.3^2) where not; a product is N(0, 1.5^2) and a square N(0, 2^2) where all its factors are active, and
N(0, 0.15^2) where not (strong heredity). Ranges are set out to hold the best setting between their ends, so a square
may be as large as a main effect. The intercept keeps its own sd. Measured outcomes use the same numbers in
units of their residual sd sigma, spikes halved: the spread of all values would not do, since one large effect would
make all others seem small.

A series is of one of three classes (`SERIES_CLASSES`):

    ordinary      half of the factors are active
    few matter    one factor in twenty is
    steep         half of the factors are active, and all sds but the intercept's are 2.5 times as large

so that effects have tails that a Gaussian lacks. Separated tables bound an effect from below only: without the steep
class its upper limit was the prior's own, and too low. Above six factors the chances of being active shrink so that
the number of active factors to be expected stays the same.

Two-scale mixtures: George & McCulloch 1993, JASA 88, 881-889, in units of sigma 1997, Statistica Sinica 7, 339-373;
heredity: Chipman 1996, Canadian Journal of Statistics 24, 17-36; tails for separated tables: Gelman, Jakulin, Pittau &
Su 2008, Annals of Applied Statistics 2, 1360-1383, and Ghosh, Li & Mitra 2018, Bayesian Analysis 13, 359-383; a chance
of being active that is itself unknown, against finding something among many: Scott & Berger 2010, Annals of Statistics
38, 2587-2619 (all from memory). The numbers are this project's choice, measured against others.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meltdoe.fit.model.prior import GRADE_INTERCEPT_SD, INTERCEPT_SD

__all__ = ["SERIES_CLASSES", "InclusionPrior", "ScaleClass", "SeriesClass", "TermRoles"]

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_MANY = 6  # factors above which the chances of being active shrink
_MEASURED_SPIKE = 0.5  # of the small sds: a logistic variable has sd 1.8, so 0.3 log odds are 0.17 of its noise


@dataclass(frozen=True, slots=True)
class SeriesClass:
    """A kind of series.

    Attributes
    ----------
    chance : prior probability of the class.
    active : probability that a factor is active, up to six factors.
    steepness : what all sds but the intercept's are multiplied by.
    """

    chance: float
    active: float
    steepness: float = 1.0


SERIES_CLASSES = (SeriesClass(0.3, 0.5), SeriesClass(0.3, 0.05), SeriesClass(0.4, 0.5, 2.5))


@dataclass(frozen=True, slots=True)
class ScaleClass:
    """Classes of series that share their sds.

    Attributes
    ----------
    sizes : the sds.
    log_chances : (c,) log probabilities of the classes. active : (c,) probability that a factor is active in each.
    """

    sizes: InclusionPrior
    log_chances: tuple[float, ...]
    active: tuple[float, ...]

    def log_pattern(self, count: NDArray[np.int_], n_factors: int) -> Array:
        """Log probability of the class and of a pattern with `count` of its factors active."""
        active, counts = np.array(self.active), count[..., None]
        each = np.array(self.log_chances) + counts * np.log(active) + (n_factors - counts) * np.log1p(-active)
        return np.asarray(np.logaddexp.reduce(each, axis=-1))


@dataclass(frozen=True, slots=True)
class InclusionPrior:
    """Sizes of the prior, log odds (or units of sigma for measured outcomes).

    Attributes
    ----------
    spike_sd, slab_sd : sd of a main effect of a factor that is not active, and that is.
    cross_small_sd, cross_large_sd : sd of a product unless, and where, all its factors are active.
    square_large_sd : sd of a square where its factor is active; that of a product where not.
    intercept_sd : sd of the intercept, in units of `scale` for measured outcomes; that of the kind where None.
    classes : kinds of series.
    """

    spike_sd: float = 0.3
    slab_sd: float = 2.0
    cross_small_sd: float = 0.15
    cross_large_sd: float = 1.5
    square_large_sd: float = 2.0
    intercept_sd: float | None = None
    classes: tuple[SeriesClass, ...] = SERIES_CLASSES

    def active(self, n_factors: int) -> float:
        """Prior probability that one of so many factors is active."""
        return _thin(n_factors) * sum(one.chance * one.active for one in self.classes)

    def scales(self, n_factors: int) -> tuple[ScaleClass, ...]:
        """The classes, those that share their sds together."""
        thin = _thin(n_factors)
        found = []
        for steepness in dict.fromkeys(one.steepness for one in self.classes):
            same = [one for one in self.classes if one.steepness == steepness]
            chances = tuple(float(np.log(one.chance)) for one in same)
            found.append(ScaleClass(self.widened(steepness), chances, tuple(thin * one.active for one in same)))
        return tuple(found)

    def widened(self, factor: float) -> InclusionPrior:
        """The same prior with the sds of all terms but the intercept multiplied by `factor`."""
        return replace(
            self,
            spike_sd=factor * self.spike_sd,
            slab_sd=factor * self.slab_sd,
            cross_small_sd=factor * self.cross_small_sd,
            cross_large_sd=factor * self.cross_large_sd,
            square_large_sd=factor * self.square_large_sd,
        )


def _thin(n_factors: int) -> float:
    return min(1.0, _MANY / max(n_factors, 1))


@dataclass(frozen=True, slots=True)
class TermRoles:
    """Which factors each column of the model matrix is made of, and the order of its term.

    Attributes
    ----------
    factors : one tuple a column, factors counted from 0; () for the intercept and for columns outside the mixture.
    orders : 0 intercept, 1 main effect, 2 or more products and squares. A column without factors and of order
        2 keeps the large sd of second-order terms whatever the pattern.
    """

    factors: tuple[tuple[int, ...], ...]
    orders: tuple[int, ...]

    @property
    def n_factors(self) -> int:
        """Number of factors that the mixture switches."""
        return 1 + max((f for factors in self.factors for f in factors), default=-1)

    def sds(self, prior: InclusionPrior, patterns: BoolArray, kind: str) -> Array:
        """Prior sds (m, p) of all columns under patterns (m, n_factors), in units of sigma where `per_sigma`."""
        narrow = _MEASURED_SPIKE if kind == "measured" else 1.0
        sd = np.empty((len(patterns), len(self.orders)))
        default = GRADE_INTERCEPT_SD if kind == "grade" else INTERCEPT_SD
        for j, (factors, order) in enumerate(zip(self.factors, self.orders, strict=True)):
            active = patterns[:, list(factors)].all(axis=1)
            if order == 0:
                sd[:, j] = prior.intercept_sd or default
            elif order == 1:
                sd[:, j] = np.where(active, prior.slab_sd, narrow * prior.spike_sd)
            else:
                large = prior.square_large_sd if len(factors) == 1 else prior.cross_large_sd
                sd[:, j] = np.where(active, large, narrow * prior.cross_small_sd)
        return sd

    def per_sigma(self, kind: str) -> BoolArray:
        """(p,) columns whose sd is meant in units of the residual sd: all of a measured outcome but the intercept."""
        return np.array([kind == "measured" and order > 0 for order in self.orders], dtype=bool)

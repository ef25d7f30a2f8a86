"""What is believed before the first melt, as a Gaussian on coded coefficients plus beliefs about chances.

On the coded scale (-1 to +1 between low and high) the default is, independently,

    intercept ~ N(0, 2^2),  main effects ~ N(0, 1.5^2),  products and squares ~ N(0, 0.75^2)   log odds,

which lets a main effect take a chance from 18 to 82 % across a factor's range without surprise.
The intercept of a graded outcome has sd 2.5. Measured outcomes use the same numbers in units of `scale`.
The sizes are this project's choice, near those of Gelman, Jakulin, Pittau & Su 2008, Annals of Applied
Statistics 2, 1360-1383 (a scale of 2.5 on inputs of sd 1/2); their loss under other truths was measured.

A belief "at this setting I give it 60 %, worth one melt" is a Beta(a, b) prior on the chance p there, with
a = worth * chance, b = worth * (1 - chance): a conditional means prior (Bedrick, Christensen & Johnson 1996,
JASA 91, 1450-1460, from memory). Seen from the linear predictor the Jacobian of the logistic turns
p^(a-1) (1-p)^(b-1) into p^a (1-p)^b, so a belief is `worth` melts of which a fraction `chance` was good.
It multiplies the Gaussian, which goes on holding the directions that no belief speaks of.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Belief", "Prior", "ShapePrior", "default_prior", "independent_prior"]

Array = NDArray[np.float64]

INTERCEPT_SD = 2.0
GRADE_INTERCEPT_SD = 2.5
MAIN_SD = 1.5
SECOND_ORDER_SD = 0.75


@dataclass(frozen=True, slots=True)
class ShapePrior:
    """Means and sds of the parameters beside the coefficients, all on log scales, all Gaussian.

    Attributes
    ----------
    log_gap : log distance between neighbouring thresholds of a graded outcome, log odds.
    log_sigma : log residual sd of a measured outcome, in units of its scale.
    log_group_sd : log sd of the effect that melts of one firing share, in units of the linear predictor.
        With median 0.5 and 95 % below 1.9, firings may matter as much as a factor, or not at all.

    The first is a common choice for four or five grades, the others are this project's own.
    """

    log_gap: tuple[float, float] = (0.3, 1.0)
    log_sigma: tuple[float, float] = (float(np.log(0.5)), 1.0)
    log_group_sd: tuple[float, float] = (float(np.log(0.5)), 0.8)


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """Gaussian prior of the coefficients.

    Attributes
    ----------
    mean : (p,) prior means, coded scale.
    precision : (p, p) inverse of the prior covariance.
    shape : prior of the other parameters.
    """

    mean: Array
    precision: Array
    shape: ShapePrior = field(default_factory=ShapePrior)

    def widened(self, factor: float) -> Prior:
        """The same prior with every coefficient's sd multiplied by `factor`."""
        return replace(self, precision=self.precision / factor**2)


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """A chance stated before melting.

    Attributes
    ----------
    row : (p,) the model-matrix row of the setting.
    chance : chance that the outcome is good there, strictly between 0 and 1.
    worth : how many melts' worth of evidence the belief is, above 0.
    good : which grades are good (graded outcomes), or (low, high) of the good values (measured);
        a pass is good for pass/fail outcomes and needs no mention.
    """

    row: ArrayLike
    chance: float
    worth: float
    good: Sequence[float] | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.chance < 1.0:
            raise ValueError(f"a believed chance must lie strictly between 0 and 1, not {self.chance}")
        if not self.worth > 0.0:
            raise ValueError(f"a belief must be worth more than 0 melts, not {self.worth}")

    @property
    def successes(self) -> float:
        """Melts' worth of good outcomes."""
        return self.worth * self.chance

    @property
    def failures(self) -> float:
        """Melts' worth of bad outcomes."""
        return self.worth * (1.0 - self.chance)


def independent_prior(mean: ArrayLike, sd: ArrayLike, shape: ShapePrior | None = None) -> Prior:
    """Independent Gaussians.

    Parameters
    ----------
    mean, sd : (p,) or numbers that broadcast against each other to (p,).
    """
    means, sds = np.broadcast_arrays(np.asarray(mean, dtype=float), np.asarray(sd, dtype=float))
    if np.any(sds <= 0):
        raise ValueError("every prior sd must be above 0")
    means, sds = np.atleast_1d(means), np.atleast_1d(sds)
    return Prior(means.copy(), np.diag(1.0 / sds**2), shape or ShapePrior())


def default_prior(orders: Sequence[int], kind: str = "pass", shape: ShapePrior | None = None) -> Prior:
    """The default prior for columns of the given orders.

    Parameters
    ----------
    orders : order of each column's term: 0 the intercept, 1 a main effect, 2 or more a product or square.
    kind : "pass", "grade" or "measured".
    """
    intercept = GRADE_INTERCEPT_SD if kind == "grade" else INTERCEPT_SD
    sds = [intercept if order == 0 else MAIN_SD if order == 1 else SECOND_ORDER_SD for order in orders]
    return independent_prior(np.zeros(len(sds)), sds, shape)

"""Canonical form of a fitted quadratic: stationary point, curvatures along its own axes, and how sure each is.

Notation (Box and Wilson 1951, J. R. Statist. Soc. B 13, 1-45; Box and Draper 2007, *Response Surfaces, Mixtures, and
Ridge Analyses*, 2nd ed., Wiley, chapters 10-11; from memory): ``y(x) = b0 + x'b + x'B x`` with B symmetric (squares on
the diagonal, half the products beside it). Stationary point ``s = -B^-1 b / 2``; eigenvalues and eigenvectors of B.

Uncertainty
-----------
* of an eigenvalue: the delta method, ``d lambda = v' dB v`` (to first order the axes may be held fixed; Bisgaard and
  Ankenman 1996, Technometrics 38, 238-246, from memory);
* of the stationary point: the delta method for standard errors, and for limits draws of the coefficients from their
  multivariate t distribution, because the ratio behind the point has no finite variance and its spread is lopsided.
  Along an axis whose eigenvalue cannot be told from zero the point may lie at any distance (as in Fieller 1954, J. R.
  Statist. Soc. B 16, 175-185, from memory), so there the limits are infinite;
* whether a given point could be the stationary point: the exact region of Box and Hunter (1954), Biometrika 41,
  190-199 (from memory), in `CanonicalForm.could_be_stationary`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, special

from meltdoe.errors import Inestimable

__all__ = ["CanonicalForm", "canonical_surface"]

Array = NDArray[np.float64]
Nature = Literal["maximum", "minimum", "saddle"]

# An axis is called a ridge where the surface bends along it by less than a tenth of its strongest bend, or where its
# bend cannot be told from none (our choice).
RIDGE_SHARE = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class CanonicalForm:
    """Result of `canonical_surface` for k factors in coded units.

    stationary, stationary_se, low, high : (k,) with delta-method standard errors and limits by draws at `level`.
    value : fitted outcome there.
    eigenvalues : (k,) from the largest down, with eigenvalue_se, eigenvalue_low, eigenvalue_high.
    axes : (k, k), column i belongs to eigenvalue i; its largest entry is positive.
    nature : by the signs of the eigenvalues. ridge : (k,) axes that are all but flat.
    chances : share of the draws of each nature. inside : whether the point lies within the settings tried (their
    convex hull; None where they were not given).
    """

    stationary: Array
    stationary_se: Array
    low: Array
    high: Array
    level: float
    value: float
    eigenvalues: Array
    eigenvalue_se: Array
    eigenvalue_low: Array
    eigenvalue_high: Array
    axes: Array
    nature: Nature
    ridge: NDArray[np.bool_]
    chances: Mapping[Nature, float]
    inside: bool | None
    linear: Array
    quadratic: Array
    gradient_map: Array
    covariance: Array
    df: float

    @property
    def in_words(self) -> str:
        """The shape in one sentence, with what should be doubted about it."""
        kind = {
            "maximum": "a highest point",
            "minimum": "a lowest point",
            "saddle": "a saddle: up one way, down another",
        }
        text = f"The fitted surface has {kind[self.nature]}"
        if self.ridge.all():
            text += ", but is too flat for its place to mean much"
        elif self.ridge.any():
            text += ", drawn out into a ridge along which the outcome hardly changes"
        if self.inside is False:
            text += "; it lies outside the settings tried and is an extrapolation"
        return text + f" ({100 * self.chances[self.nature]:.0f} % of the surfaces that fit these data have this shape)."

    def could_be_stationary(self, x: ArrayLike, level: float | None = None) -> NDArray[np.bool_]:
        """Whether each point x (m, k) lies in the confidence region of the stationary point (Box and Hunter 1954)."""
        points = np.atleast_2d(np.asarray(x, dtype=float))
        cover = self.level if level is None else level
        k = self.linear.size
        inside = np.empty(points.shape[0], dtype=bool)
        for i, point in enumerate(points):
            # The gradient at a given point is linear in the coefficients, so this F test is exact.
            rows = self.gradient_map[0] + np.tensordot(point, self.gradient_map[1:], axes=1)
            gradient = self.linear + 2 * self.quadratic @ point
            statistic = gradient @ linalg.solve(rows @ self.covariance @ rows.T, gradient, assume_a="pos") / k
            tail = special.fdtrc(k, self.df, statistic) if np.isfinite(self.df) else special.chdtrc(k, k * statistic)
            inside[i] = tail >= 1 - cover
        return inside


def canonical_surface(
    coef: ArrayLike,
    covariance: ArrayLike,
    powers: ArrayLike,
    df: float = float("inf"),
    level: float = 0.90,
    settings: ArrayLike | None = None,
    draws: int = 4000,
    seed: int = 20261125,
) -> CanonicalForm:
    """Canonical form of a fitted quadratic.

    Parameters
    ----------
    coef, covariance : (p,), (p, p) of the surface's terms; leave out nuisance columns such as blocks from all three.
    powers : (p, k) whole numbers: the power of each factor in each term. (0, 0) is the constant, (1, 0) the first
        factor, (1, 1) the product, (2, 0) the square of the first.
    df : residual degrees of freedom behind `covariance`; infinite for a posterior.
    level : coverage of limits.
    settings : (n, k) settings tried, to judge whether the stationary point lies within them.
    draws, seed : for the limits of the stationary point and the chances of each shape.

    Raises
    ------
    Inestimable : a factor has no square or product in the model, the curvature vanishes, or there is no spread to
        judge by (a saturated fit).
    ValueError : a term is of higher than second order, or shapes disagree.
    """
    coef, covariance = np.asarray(coef, dtype=float), np.asarray(covariance, dtype=float)
    powers = np.asarray(powers, dtype=int)
    if powers.ndim != 2 or powers.shape[0] != coef.size or covariance.shape != (coef.size, coef.size):
        raise ValueError("coef (p,), covariance (p, p) and powers (p, k) must have one row a term")
    order = powers.sum(axis=1)
    if (powers < 0).any() or (order > 2).any():
        raise ValueError("terms of a quadratic have powers that add up to 0, 1 or 2")
    if not np.isfinite(covariance).all() or not df > 0:
        raise Inestimable("no melts are left over to judge the scatter by, so the surface's shape has no limits")
    k = powers.shape[1]
    # b[i] = to_linear[i] @ coef and B[i, j] = to_square[i, j] @ coef, so draws and derivatives are plain products.
    to_linear = np.where((order == 1)[:, None], powers, 0).T.astype(float)
    to_square = np.einsum("ti,tj->ijt", powers, powers) / 2.0
    to_square[:, :, order < 2] = 0.0
    # A product adds up to half on each side of the diagonal; a square would come out as 2 and must be 1.
    to_square[range(k), range(k)] = np.where(powers.T == 2, 1.0, 0.0)
    b, B = to_linear @ coef, to_square @ coef
    scale = np.abs(B).max(initial=0.0)
    eigenvalues, axes = linalg.eigh(B)
    eigenvalues, axes = eigenvalues[::-1], axes[:, ::-1]
    if scale == 0 or np.abs(eigenvalues).min() < 1e-10 * scale:
        raise Inestimable("the surface does not bend in some direction, so it has no single stationary point")
    axes = axes * np.sign(axes[np.abs(axes).argmax(axis=0), range(k)])
    stationary = -0.5 * linalg.solve(B, b, assume_a="sym")

    # d lambda_i = v_i' dB v_i ; ds = -B^-1 (db/2 + dB s), from b + 2 B s = 0.
    half = _quantile(df, level)
    pull = np.einsum("ai,bi,abt->it", axes, axes, to_square)
    eigenvalue_se = np.sqrt(np.einsum("it,tu,iu->i", pull, covariance, pull))
    slope = -linalg.solve(B, to_linear / 2 + np.tensordot(stationary, to_square, axes=1), assume_a="sym")
    stationary_se = np.sqrt(np.einsum("it,tu,iu->i", slope, covariance, slope))
    low, high, chances = _by_draws(coef, covariance, df, to_linear, to_square, level, draws, seed)
    unsure = np.abs(eigenvalues) < half * eigenvalue_se
    unbounded = (np.abs(axes[:, unsure]) > 1e-6).any(axis=1)
    constant = float(coef[order == 0].sum())
    shallow = np.abs(eigenvalues) < RIDGE_SHARE * np.abs(eigenvalues).max()
    return CanonicalForm(
        stationary=stationary,
        stationary_se=stationary_se,
        low=np.where(unbounded, -np.inf, low),
        high=np.where(unbounded, np.inf, high),
        level=level,
        value=constant + float(stationary @ b) / 2,
        eigenvalues=eigenvalues,
        eigenvalue_se=eigenvalue_se,
        eigenvalue_low=eigenvalues - half * eigenvalue_se,
        eigenvalue_high=eigenvalues + half * eigenvalue_se,
        axes=axes,
        nature=_nature(eigenvalues),
        ridge=shallow | unsure,
        chances=chances,
        inside=None if settings is None else _within(stationary, np.asarray(settings, dtype=float)),
        linear=b,
        quadratic=B,
        gradient_map=np.concatenate([to_linear[None], 2 * to_square]),
        covariance=covariance,
        df=df,
    )


def _nature(eigenvalues: Array) -> Nature:
    if (eigenvalues < 0).all():
        return "maximum"
    return "minimum" if (eigenvalues > 0).all() else "saddle"


def _by_draws(
    coef: Array, covariance: Array, df: float, to_linear: Array, to_square: Array, level: float, draws: int, seed: int
) -> tuple[Array, Array, dict[Nature, float]]:
    """Limits of the stationary point and shares of each nature over draws of the coefficients."""
    rng = np.random.default_rng(seed)
    # The square root by eigenvectors also serves a covariance without full rank.
    values, vectors = linalg.eigh(covariance)
    noise = rng.standard_normal((draws, coef.size)) @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
    stretch = np.sqrt(df / rng.chisquare(df, draws)) if np.isfinite(df) else np.ones(draws)
    drawn = coef + noise * stretch[:, None]
    b, B = drawn @ to_linear.T, np.einsum("ijt,st->sij", to_square, drawn)
    places = -0.5 * np.linalg.solve(B, b[:, :, None])[:, :, 0]
    low, high = np.quantile(places, [0.5 - level / 2, 0.5 + level / 2], axis=0)
    signs = np.linalg.eigvalsh(B) > 0
    up, down = float(np.mean(signs.all(axis=1))), float(np.mean((~signs).all(axis=1)))
    return low, high, {"maximum": down, "minimum": up, "saddle": 1.0 - up - down}


def _quantile(df: float, level: float) -> float:
    upper = 0.5 + level / 2
    return float(special.stdtrit(df, upper)) if np.isfinite(df) else float(special.ndtri(upper))


def _within(point: Array, settings: Array) -> bool:
    """Whether a point is a weighted mean of settings: a linear programme without an aim."""
    from scipy import optimize  # inside: it takes a sixth of a second to load

    equal = np.vstack([settings.T, np.ones(settings.shape[0])])
    found = optimize.linprog(np.zeros(settings.shape[0]), A_eq=equal, b_eq=np.append(point, 1.0))
    return bool(found.status == 0)

"""Ordinary least squares for measured outcomes, with the tests that go with a planned series.

Model and notation
------------------
``y = X b + e`` with independent normal errors of one variance ``sigma^2``; ``X`` is ``(n, p)``, ``b`` is estimated by
``(X'X)^-1 X'y`` through a QR factorisation, ``sigma^2`` by the residual sum of squares over ``n - p``. Tests are t and
F tests (Draper and Smith 1998, *Applied Regression Analysis*, 3rd ed., Wiley: extra sums of squares, lack of fit and
pure error; from memory). The curvature check by centre points is that of Box and Wilson (1951), J. R. Statist. Soc. B
13, 1-45, from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, special

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.separation import require_independent_columns, term_names

__all__ = [
    "CurvatureTest",
    "FTest",
    "LackOfFit",
    "LinearFit",
    "block_contrasts",
    "checked_design",
    "curvature",
    "lack_of_fit",
    "least_squares",
    "sequential_anova",
    "t_quantile",
    "two_sided_p",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FTest:
    """One F test on `df` and `df_error` degrees of freedom; `ss` in squared units of the outcome, nan if none."""

    name: str
    statistic: float
    df: int
    df_error: float
    p_value: float
    ss: float = float("nan")


@dataclass(frozen=True, slots=True)
class LackOfFit:
    """Residual sum of squares parted into lack of fit and pure error, and the F test of the one against the other."""

    ss_lack: float
    df_lack: int
    ss_pure: float
    df_pure: int
    statistic: float
    p_value: float

    @property
    def pure_sigma(self) -> float:
        """Standard deviation of repeats, in the unit of the outcome."""
        return float(np.sqrt(self.ss_pure / self.df_pure))


@dataclass(frozen=True, slots=True)
class CurvatureTest:
    """Mean of the factorial points less mean of the centre points: estimates the sum of the pure quadratic effects."""

    estimate: float
    se: float
    low: float
    high: float
    t: float
    df: int
    p_value: float
    level: float


@dataclass(frozen=True, slots=True, eq=False)
class LinearFit:
    """Result of `least_squares`; arrays of length p follow the columns of X, those of length n its rows.

    coef, se, t, p_values, low, high : estimates, standard errors, two-sided t tests and limits at `level`.
    covariance, unscaled : (p, p), sigma^2 (X'X)^-1 and (X'X)^-1.
    df, sigma, sse : residual degrees of freedom, standard deviation and sum of squares.
    total_ss : about the mean where the columns of X make a constant (also where they do so only together, as the
    shares of a mixture do: `has_constant`), about zero otherwise; the same holds for the two R squared.
    fitted, residuals, leverage : per row; leverage is the diagonal of X (X'X)^-1 X'.
    With no degrees of freedom left, or no scatter at all (an outcome that was the same in every row, say), there is
    nothing to judge by: the estimates stand, sigma, se and p values are nan and the limits infinite.
    """

    names: tuple[str, ...]
    coef: Array
    se: Array
    t: Array
    p_values: Array
    low: Array
    high: Array
    level: float
    covariance: Array
    unscaled: Array
    df: int
    sigma: float
    sse: float
    total_ss: float
    has_constant: bool
    fitted: Array
    residuals: Array
    leverage: Array

    @property
    def r_squared(self) -> float:
        """Share of `total_ss` that the columns take up."""
        return 1 - self.sse / self.total_ss if self.total_ss > 0 else float("nan")

    @property
    def adjusted_r_squared(self) -> float:
        """R squared with both sums of squares divided by their degrees of freedom."""
        if not self.df:
            return float("nan")
        return 1 - (1 - self.r_squared) * (self.fitted.size - self.has_constant) / self.df

    @property
    def aic(self) -> float:
        """n log(SSE/n) + 2p, for comparing regressions on the same rows (Akaike 1974, in this form from memory)."""
        n = self.fitted.size
        return float(n * np.log(self.sse / n) + 2 * self.coef.size) if self.sse > 0 else float("-inf")

    @property
    def overall(self) -> FTest:
        """The whole regression against a constant, or against nothing where X makes no constant."""
        df = self.coef.size - self.has_constant
        return _f_test("regression", self.total_ss - self.sse, df, self.sse, self.df)

    def predict(self, X: ArrayLike, level: float | None = None) -> tuple[Array, Array, Array]:
        """Mean at new rows (m, p) with its limits at `level` (the fit's own where None): three arrays (m,)."""
        rows = np.atleast_2d(np.asarray(X, dtype=float))
        mean = rows @ self.coef
        if np.isnan(self.sigma):
            return mean, np.full(mean.shape, -np.inf), np.full(mean.shape, np.inf)
        se = np.sqrt(np.einsum("ij,jk,ik->i", rows, self.covariance, rows))
        half = t_quantile(self.df, self.level if level is None else level) * se
        return mean, mean - half, mean + half

    def contrast_test(self, L: ArrayLike, name: str = "contrast") -> FTest:
        """F test of L b = 0 for L of shape (r, p) and full row rank."""
        rows = np.atleast_2d(np.asarray(L, dtype=float))
        value = rows @ self.coef
        ss = float(value @ linalg.solve(rows @ self.unscaled @ rows.T, value, assume_a="pos"))
        return _f_test(name, ss, rows.shape[0], self.sse, self.df)

    def term_tests(self, terms: Mapping[str, Sequence[int]]) -> tuple[FTest, ...]:
        """Partial F test of each term (name -> its columns), given all the other columns."""
        eye = np.eye(self.coef.size)
        return tuple(self.contrast_test(eye[list(columns)], name) for name, columns in terms.items())


def least_squares(
    X: ArrayLike,
    y: ArrayLike,
    level: float = 0.90,
    names: Sequence[str] | None = None,
    blocks: ArrayLike | None = None,
) -> LinearFit:
    """Least squares with t tests and limits.

    Parameters
    ----------
    X : (n, p) model matrix, its constant column included.
    y : (n,) measured outcome.
    level : coverage of the limits, between 0 and 1.
    names : p column names, for results and messages.
    blocks : (n,) labels; adds sum-to-zero columns behind those of X, so the constant stays the mean over blocks.

    Raises
    ------
    Inestimable : columns depend on each other (they are named), or there are fewer rows than columns.
    ValueError : shapes disagree, values are not finite or level is not a share.
    """
    X, y, names = checked_design(X, y, level, names)
    if blocks is not None:
        extra, labels = block_contrasts(blocks)
        X, names = np.hstack([X, extra]), (*names, *labels)
    require_independent_columns(X, names)
    n, p = X.shape
    q, r = linalg.qr(X, mode="economic")
    coef = linalg.solve_triangular(r, q.T @ y)
    fitted = X @ coef
    inverse_r = linalg.solve_triangular(r, np.eye(p))
    unscaled = inverse_r @ inverse_r.T
    df = n - p
    sse = _cleared(float(np.sum((y - fitted) ** 2)), y, df)
    sigma = float(np.sqrt(sse / df)) if sse > 0 else float("nan")
    se = sigma * np.sqrt(np.diag(unscaled))
    t = coef / se
    half = t_quantile(df, level) * se if sse > 0 else np.full(p, np.inf)
    has_constant = float(np.sum(q.sum(axis=0) ** 2)) > n * (1 - 1e-10)  # 1'QQ'1 = 1'1: ones lie in the column space
    return LinearFit(
        names=names,
        coef=coef,
        se=se,
        t=t,
        p_values=two_sided_p(t, df) if sse > 0 else np.full(p, np.nan),
        low=coef - half,
        high=coef + half,
        level=level,
        covariance=sigma**2 * unscaled,
        unscaled=unscaled,
        df=df,
        sigma=sigma,
        sse=sse,
        total_ss=float(np.sum((y - y.mean()) ** 2)) if has_constant else float(y @ y),
        has_constant=has_constant,
        fitted=fitted,
        residuals=y - fitted,
        leverage=np.sum(q**2, axis=1),
    )


def sequential_anova(X: ArrayLike, y: ArrayLike, terms: Mapping[str, Sequence[int]]) -> tuple[FTest, ...]:
    """Sums of squares of terms entered one after another, each tested against the residual of the whole model.

    terms : name -> columns of X (n, p), in the order of entry. Columns not named are fitted before the first term.
    """
    X, y, names = checked_design(X, y, 0.9, None)
    named = [column for columns in terms.values() for column in columns]
    first = [column for column in range(X.shape[1]) if column not in named]
    require_independent_columns(X, names)
    q, _ = linalg.qr(X[:, first + named], mode="economic")
    squares = (q.T @ y) ** 2
    df_error = X.shape[0] - X.shape[1]
    sse = _cleared(float(np.sum((y - q @ (q.T @ y)) ** 2)), y, df_error)
    tests, start = [], len(first)
    for name, columns in terms.items():
        stop = start + len(columns)
        tests.append(_f_test(name, float(squares[start:stop].sum()), len(columns), sse, df_error))
        start = stop
    return tuple(tests)


def lack_of_fit(fit: LinearFit, y: ArrayLike, settings: ArrayLike) -> LackOfFit:
    """Part the residual of `fit` by repeats, and test lack of fit against pure error.

    settings : (n, k) what was set in each row, blocks included where there are any; equal rows are repeats.
    Raises Inestimable where nothing was repeated, or where the model has as many terms as there are settings.
    """
    ss_pure, df_pure = _pure_error(np.asarray(y, dtype=float), np.asarray(settings))
    if not df_pure:
        raise Inestimable("no setting was repeated, so lack of fit cannot be told from melt-to-melt scatter")
    df_lack = fit.df - df_pure
    if df_lack <= 0:
        raise Inestimable("the model has a term for every setting tried, so its lack of fit cannot be judged")
    test = _f_test("lack of fit", max(fit.sse - ss_pure, 0.0), df_lack, ss_pure, df_pure)
    return LackOfFit(test.ss, df_lack, ss_pure, df_pure, test.statistic, test.p_value)


def curvature(y: ArrayLike, centre: ArrayLike, settings: ArrayLike, level: float = 0.90) -> CurvatureTest:
    """Factorial mean less centre mean, against the scatter of repeats.

    y : (n,). centre : (n,) true for centre points. settings : (n, k), equal rows are repeats and give the error.
    To test against the residual of a model instead, fit with an indicator column of the centre points.
    Raises Inestimable without centre points, without other points, or without repeats.
    """
    y, at_centre = np.asarray(y, dtype=float), np.asarray(centre, dtype=bool)
    if not 0 < at_centre.sum() < y.size:
        raise Inestimable("curvature needs melts at the centre and melts away from it")
    ss_pure, df = _pure_error(y, np.asarray(settings))
    if not df:
        raise Inestimable("no setting was repeated, so curvature cannot be told from melt-to-melt scatter")
    estimate = float(y[~at_centre].mean() - y[at_centre].mean())
    se = float(np.sqrt(ss_pure / df * (1 / at_centre.sum() + 1 / (~at_centre).sum())))
    t = estimate / se if se > 0 else float(np.copysign(np.inf, estimate))
    half = t_quantile(df, level) * se
    p_value = float(two_sided_p(np.array([t]), df)[0])
    return CurvatureTest(estimate, se, estimate - half, estimate + half, t, df, p_value, level)


def block_contrasts(blocks: ArrayLike) -> tuple[Array, tuple[str, ...]]:
    """Sum-to-zero columns (n, levels - 1) for block labels (n,), and their names."""
    levels, index = np.unique(np.asarray(blocks), return_inverse=True)
    table = np.vstack([np.eye(levels.size - 1), -np.ones(levels.size - 1)])
    return table[index], tuple(f"block {level}" for level in levels[:-1])


def checked_design(
    X: ArrayLike, y: ArrayLike, level: float, names: Sequence[str] | None
) -> tuple[Array, Array, tuple[str, ...]]:
    """X and y as finite float arrays that fit together, and a name for each column."""
    matrix, outcome = np.asarray(X, dtype=float), np.asarray(y, dtype=float)
    if matrix.ndim != 2 or outcome.shape != matrix.shape[:1]:
        raise ValueError(f"X must be (n, p) and y (n,), not {matrix.shape} and {outcome.shape}")
    if not (np.isfinite(matrix).all() and np.isfinite(outcome).all()):
        raise ValueError("X and y must hold finite numbers; leave out rows that were not seen")
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1, not {level}")
    return matrix, outcome, term_names(matrix.shape[1], names)


def t_quantile(df: float, level: float) -> float:
    """Half width, in standard errors, of a two-sided interval of coverage `level` on df degrees of freedom."""
    return float(special.stdtrit(df, 0.5 + level / 2))


def two_sided_p(t: Array, df: float | Array) -> Array:
    """Two-sided p values of t statistics."""
    return np.asarray(2 * special.stdtr(df, -np.abs(t)), dtype=float)


def _pure_error(y: Array, settings: NDArray[np.generic]) -> tuple[float, int]:
    """Sum of squares within equal rows of settings, and its degrees of freedom."""
    rows = settings.reshape(y.size, -1)
    _, index = np.unique(rows, axis=0, return_inverse=True)
    index = index.reshape(-1)
    count = np.bincount(index)
    mean = np.bincount(index, weights=y) / count
    return float(np.sum((y - mean[index]) ** 2)), int(y.size - count.size)


def _cleared(sse: float, y: Array, df: int) -> float:
    """Zero where what is left over is rounding, which must not pass for a residual variance."""
    return sse if df and sse > 1e-24 * float(y @ y) else 0.0


def _f_test(name: str, ss: float, df: int, sse: float, df_error: int) -> FTest:
    if not sse > 0:
        return FTest(name, float("nan"), df, df_error, float("nan"), ss)
    statistic = ss / df / (sse / df_error)
    return FTest(name, statistic, df, df_error, float(special.fdtrc(df, df_error, statistic)), ss)

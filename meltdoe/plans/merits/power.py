"""Chance that a test will notice a real difference: t and F tests, and two pass rates.

t: T ~ noncentral t(df, delta). F: noncentral F(df1, df2, lambda). Two proportions: normal approximation with pooled
variance under no difference and separate variances otherwise (Fleiss 1981, Statistical Methods for Rates and
Proportions, from memory), and the arcsine approximation with h = 2 asin sqrt(p1) - 2 asin sqrt(p2) (Cohen 1988,
Statistical Power Analysis for the Behavioral Sciences). The approximations for proportions are meant for tens of
melts per group; for single figures use an exact calculation.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, TypeAlias

import numpy as np
from scipy import optimize, special

__all__ = [
    "Sides", "arcsine_difference", "arcsine_power", "arcsine_size", "continuity_corrected_size", "effect_power",
    "f_power", "proportions_power", "proportions_size", "solve_size", "t_power",
]  # fmt: skip

Sides: TypeAlias = Literal["both", "larger tail", "one"]

_LARGEST_SIZE = 1e7


def t_power(delta: float, df: float, *, level: float = 0.05, sides: Sides = "both") -> float:
    """Power of a t test.

    Parameters
    ----------
    delta : noncentrality: the true difference over its standard error.
    df : degrees of freedom of the error.
    level : chance of a false alarm, 0.05 for 5 %.
    sides : "both" counts both tails of a two-sided test; "larger tail" leaves out the tail on the wrong side (a common
        simplification, wrong for small effects); "one" is a one-sided test.

    Raises
    ------
    ValueError
        For a level outside 0..1 or no degrees of freedom.
    """
    _check(level)
    if df <= 0:
        raise ValueError(f"a t test needs at least one degree of freedom for error, got {df:g}")
    size = abs(delta)
    critical = float(special.stdtrit(df, 1.0 - level / (1.0 if sides == "one" else 2.0)))
    power = 1.0 - float(special.nctdtr(df, size, critical))
    if sides == "both":
        power += float(special.nctdtr(df, size, -critical))
    return min(1.0, power)


def effect_power(effect: float, sigma: float, runs: int, df: float, *, level: float = 0.05) -> float:
    """Power to notice a two-level effect: mean at + minus mean at -, `runs` / 2 runs each.

    Parameters
    ----------
    effect : true effect, in the units of the outcome.  sigma : standard deviation of one run.
    df : degrees of freedom left for error.
    """
    return t_power(effect * np.sqrt(runs) / (2.0 * sigma), df, level=level)


def f_power(noncentrality: float, df1: float, df2: float, *, level: float = 0.05) -> float:
    """Power of an F test.

    Parameters
    ----------
    noncentrality : lambda = b' [cov(b) / sigma^2]^-1 b / sigma^2; for `g` groups of n with means m_i, n sum (m_i -
        m)^2 / sigma^2.
    df1, df2 : degrees of freedom of the terms tested and of the error.
    """
    _check(level)
    if df1 <= 0 or df2 <= 0:
        raise ValueError(f"an F test needs degrees of freedom above and below, got {df1:g} and {df2:g}")
    critical = float(special.fdtri(df1, df2, 1.0 - level))
    return 1.0 - float(special.ncfdtr(df1, df2, noncentrality, critical))


def solve_size(power_of: Callable[[float], float], power: float, *, smallest: float = 2.0) -> float:
    """Smallest n, not rounded, at which a rising power curve reaches `power`.

    Raises
    ------
    ValueError
        Where it is not reached for any n up to ten million.
    """
    if power_of(smallest) >= power:
        return smallest
    high = 2.0 * smallest
    while power_of(high) < power:
        high *= 2.0
        if high > _LARGEST_SIZE:
            raise ValueError(f"no number of runs reaches a power of {power:g}")

    def missing(n: float) -> float:
        return power_of(n) - power

    return float(optimize.brentq(missing, smallest, high, xtol=1e-10))


def proportions_power(p1: float, p2: float, n: float, *, level: float = 0.05) -> float:
    """Power of a two-sided comparison of two pass rates with n melts each, normal approximation, larger tail only."""
    _check(level, p1, p2)
    z = float(special.ndtri(1.0 - level / 2.0))
    pooled = np.sqrt((p1 + p2) * (1.0 - (p1 + p2) / 2.0))
    apart = np.sqrt(p1 * (1.0 - p1) + p2 * (1.0 - p2))
    if apart == 0.0:
        return float(np.sqrt(n) * abs(p1 - p2) > z * pooled)
    return float(special.ndtr((np.sqrt(n) * abs(p1 - p2) - z * pooled) / apart))


def proportions_size(p1: float, p2: float, power: float, *, level: float = 0.05, pooled: bool = True) -> float:
    """Melts per group, not rounded, for a two-sided comparison of two pass rates.

    Parameters
    ----------
    pooled : pooled variance under no difference; False takes separate variances throughout.
    """
    _check(level, p1, p2, power)
    if p1 == p2:
        raise ValueError("equal pass rates cannot be told apart by any number of melts")
    z, beta = special.ndtri(1.0 - level / 2.0), special.ndtri(power)
    apart = p1 * (1.0 - p1) + p2 * (1.0 - p2)
    null = (p1 + p2) * (1.0 - (p1 + p2) / 2.0) if pooled else apart
    return float((z * np.sqrt(null) + beta * np.sqrt(apart)) ** 2 / (p1 - p2) ** 2)


def continuity_corrected_size(n: float, p1: float, p2: float) -> float:
    """Fleiss's correction of a size per group for the continuity of counts (Fleiss 1981, from memory)."""
    return float(n / 4.0 * (1.0 + np.sqrt(1.0 + 4.0 / (n * abs(p1 - p2)))) ** 2)


def arcsine_difference(p1: float, p2: float) -> float:
    """h = 2 asin sqrt(p1) - 2 asin sqrt(p2)."""
    return float(2.0 * np.arcsin(np.sqrt(p1)) - 2.0 * np.arcsin(np.sqrt(p2)))


def arcsine_power(
    h: float, n1: float, n2: float | None = None, *, level: float = 0.05, sides: Literal["both", "one"] = "both"
) -> float:
    """Power for an arcsine difference h between groups of n1 and n2; one group against a fixed rate if n2 is None."""
    _check(level)
    shift = abs(h) * np.sqrt(n1 if n2 is None else n1 * n2 / (n1 + n2))
    if sides == "one":
        return float(special.ndtr(shift - special.ndtri(1.0 - level)))
    z = special.ndtri(1.0 - level / 2.0)
    return float(special.ndtr(shift - z) + special.ndtr(-shift - z))


def arcsine_size(
    h: float, power: float, *, groups: Literal[1, 2] = 2, level: float = 0.05, sides: Literal["both", "one"] = "both"
) -> float:
    """Melts per group, not rounded, for an arcsine difference h."""
    if h == 0.0:
        raise ValueError("equal pass rates cannot be told apart by any number of melts")

    def power_of(n: float) -> float:
        return arcsine_power(h, n, n if groups == 2 else None, level=level, sides=sides)

    return solve_size(power_of, power, smallest=1e-6)


def _check(*chances: float) -> None:
    for chance in chances:
        if not 0.0 <= chance <= 1.0:
            raise ValueError(f"a chance must lie between 0 and 1, got {chance:g}")

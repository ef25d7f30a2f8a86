"""Exact limits for counts: what 3 passes of 3 do and do not show.

One group: Clopper & Pearson 1934, Biometrika 26, 404-413: the chances under which the count seen, or a more extreme
one, is not improbable. Two groups: Fisher's exact test and the conditional odds ratio, from the hypergeometric
distribution given both margins. (From memory, checked on published output.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, gammaln, logsumexp

__all__ = ["TwoByTwo", "chance_at_least", "clopper_pearson", "melts_to_show", "two_by_two"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TwoByTwo:
    """Passes in two groups compared.

    Attributes
    ----------
    p_value : two-sided: all tables with these margins that are no more probable than the one seen.
    p_mid : the same with tables exactly as probable counted half.
    p_greater, p_less : one-sided, for a higher and a lower chance in the first group.
    odds_ratio : conditional maximum likelihood estimate (not the plain ratio of odds); may be 0 or inf.
    low, high : exact conditional limits of the odds ratio at `level`.
    """

    p_value: float
    p_mid: float
    p_greater: float
    p_less: float
    odds_ratio: float
    low: float
    high: float
    level: float


def clopper_pearson(passes: int, melts: int, level: float = 0.90) -> tuple[float, float]:
    """Two-sided limits of a chance, at least `level` whatever the truth.

    Parameters
    ----------
    passes, melts : counts, 0 <= passes <= melts, melts of 1 or more.
    """
    _check(passes, melts)
    tail = 0.5 * (1.0 - level)
    low = float(betaincinv(passes, melts - passes + 1, tail)) if passes > 0 else 0.0
    high = float(betaincinv(passes + 1, melts - passes, 1.0 - tail)) if passes < melts else 1.0
    return low, high


def chance_at_least(passes: int, melts: int, level: float = 0.95) -> float:
    """One-sided lower limit: 3 of 3 shows a chance of at least 37 % at level 0.95 (0.05^(1/3)).

    For "at most", ask about the failures: 1 - chance_at_least(melts - passes, melts, level).
    """
    _check(passes, melts)
    return float(betaincinv(passes, melts - passes + 1, 1.0 - level)) if passes > 0 else 0.0


def melts_to_show(chance: float, level: float = 0.95) -> int:
    """Melts without a failure that show a chance of at least `chance`: smallest n with chance^n <= 1 - level."""
    if not 0.0 < chance < 1.0:
        raise ValueError(f"the chance to show must lie strictly between 0 and 1, not {chance}")
    n = int(np.ceil(np.log(1.0 - level) / np.log(chance) - 1e-9))
    return max(1, n)


def two_by_two(passes_a: int, melts_a: int, passes_b: int, melts_b: int, level: float = 0.90) -> TwoByTwo:
    """Fisher's exact test of two groups, with the conditional odds ratio and its exact limits.

    Parameters
    ----------
    passes_a, melts_a, passes_b, melts_b : counts of the two groups.
    level : level of the two-sided limits of the odds ratio.
    """
    _check(passes_a, melts_a)
    _check(passes_b, melts_b)
    passes = passes_a + passes_b
    x = np.arange(max(0, passes - melts_b), min(passes, melts_a) + 1)
    log_ways = _log_choose(melts_a, x) + _log_choose(melts_b, passes - x)
    seen = int(passes_a - x[0])
    null = np.exp(log_ways - logsumexp(log_ways))
    # Tables exactly as probable must not be lost to rounding: relative tolerance 1e-7, common practice.
    p_value = float(null[null <= null[seen] * (1.0 + 1e-7)].sum())
    ties = float(null[np.abs(null / null[seen] - 1.0) <= 1e-7].sum())
    tail = 0.5 * (1.0 - level)
    at_top, at_bottom = seen == x.size - 1, seen == 0
    low = 0.0 if at_bottom else _solve(lambda t: float(_tilted(log_ways, x, t)[seen:].sum()) - tail)
    high = np.inf if at_top else _solve(lambda t: tail - float(_tilted(log_ways, x, t)[: seen + 1].sum()))
    if at_top or at_bottom:
        odds_ratio = np.nan if at_top and at_bottom else np.inf if at_top else 0.0
    else:
        odds_ratio = _solve(lambda t: float(_tilted(log_ways, x, t) @ x) - passes_a)
    return TwoByTwo(
        p_value=min(1.0, p_value),
        p_mid=p_value - 0.5 * ties,
        p_greater=min(1.0, float(null[seen:].sum())),
        p_less=min(1.0, float(null[: seen + 1].sum())),
        odds_ratio=float(odds_ratio),
        low=float(low),
        high=float(high),
        level=level,
    )


def _check(passes: int, melts: int) -> None:
    if melts < 1 or not 0 <= passes <= melts:
        raise ValueError(f"{passes} passes of {melts} melts is not a count")


def _log_choose(n: int, k: NDArray[np.int_]) -> Array:
    return np.asarray(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1))


def _tilted(log_ways: Array, x: NDArray[np.int_], log_ratio: float) -> Array:
    """Probabilities of x passes in the first group at this log odds ratio (noncentral hypergeometric)."""
    logs = log_ways + log_ratio * x
    return np.asarray(np.exp(logs - logsumexp(logs)))


def _solve(rising: Callable[[float], float]) -> float:
    """Odds ratio at which a function that rises with its logarithm is zero."""
    from scipy.optimize import brentq  # inside: it takes a sixth of a second to load

    return float(np.exp(brentq(rising, -200.0, 200.0, xtol=1e-12)))

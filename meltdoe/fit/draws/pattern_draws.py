"""What both ways of drawing under every pattern of active factors share: their prior, and how draws are dealt out."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meltdoe.fit.draws.laplace import make_log_posterior
from meltdoe.fit.model.inclusion_prior import InclusionPrior, TermRoles
from meltdoe.fit.model.likelihood import Likelihood
from meltdoe.fit.model.prior import independent_prior

__all__ = ["PatternPrior", "WeightedDraws", "blocks", "each_times", "every_pattern", "systematic"]

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int_]

_SHARED = 3  # draws of one matrix from which a product of their own is quicker than a copy of the matrix for each
_FLOATS = 131_072  # in the largest array worked on at a time, so that it stays in the processor's cache


@dataclass(frozen=True, slots=True, eq=False)
class PatternPrior:
    """A Gaussian prior of theta with independent entries under each of m patterns.

    Attributes
    ----------
    patterns : (m, n_factors) True where active; a pattern comes once with every set of sds.
    log_chance : (m,) log prior probabilities.
    mean : (d,) means, the same under all; those of coefficients are 0.
    precision : (m, d) precisions.
    per_sigma : (p,) coefficients whose precision is meant at sigma = 1 and falls with sigma^2.
    """

    patterns: BoolArray
    log_chance: Array
    mean: Array
    precision: Array
    per_sigma: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class WeightedDraws:
    """Draws of theta (s, d), the pattern of each (s,), and the log of target over proposal (s,).

    light : whether that ratio has no heavy tail by its making.
    """

    theta: Array
    pattern: IntArray
    log_ratio: Array
    light: bool = False


def every_pattern(likelihood: Likelihood, roles: TermRoles, sizes: InclusionPrior) -> PatternPrior:
    """The prior under all 2^n_factors patterns, once with each set of sds."""
    k, p, kind = roles.n_factors, likelihood.n_coef, likelihood.kind
    patterns = ((np.arange(2**k)[:, None] >> np.arange(k)) & 1).astype(bool)
    count, scales = patterns.sum(axis=1), sizes.scales(k)
    log_chance = np.concatenate([scale.log_pattern(count, k) for scale in scales])
    base = make_log_posterior(likelihood, independent_prior(np.zeros(p), 1.0))
    precision = np.repeat(np.diagonal(base.precision[0])[None], len(log_chance), axis=0)
    precision[:, :p] = np.vstack([roles.sds(scale.sizes, patterns, kind) for scale in scales]) ** -2.0
    whole = np.tile(patterns, (len(scales), 1))
    return PatternPrior(whole, log_chance, base.mean[0], precision, roles.per_sigma(kind))


def systematic(share: Array, count: int, rng: np.random.Generator) -> IntArray:
    """`count` indices, each as often as its share asks for, to within one."""
    at = (np.arange(count) + rng.random()) / count
    return np.minimum(np.searchsorted(np.cumsum(share), at), share.size - 1)


def blocks(count: int, size: int) -> list[slice]:
    """Slices of `count` draws, each short enough to be quick where a draw takes `size` floats."""
    step = min(max(_FLOATS // max(size, 1), 32), 4096)
    return [slice(start, min(start + step, count)) for start in range(0, count, step)]


def each_times(matrices: Array, owner: IntArray, vectors: Array) -> Array:
    """matrices[owner[s]] @ vectors[s] in row s, (m, k); matrices (M, k, k), owner (m,) ascending, vectors (m, k)."""
    start = np.flatnonzero(np.diff(owner, prepend=-1))
    if owner.size >= _SHARED * start.size:
        found = np.empty_like(vectors)
        for first, end in pairwise([*start, owner.size]):
            np.matmul(vectors[first:end], matrices[owner[first]].T, out=found[first:end])
        return found
    parts = blocks(owner.size, matrices[0].size)
    return np.concatenate([np.einsum("sij,sj->si", matrices[owner[at]], vectors[at]) for at in parts])

"""A density of pattern and scales that is linear in each scale over a lattice, to propose from.

A scale is log sigma or the log sd of firings; there may be both, one, or none. Between nodes the density runs straight,
so that it lies a little low near a peak and high in the tails (by h^2 / 8 times the second derivative): no draw can
weigh much. Where the lattice belongs is found by a few patterns at widely spaced nodes. Scales on a grid: Box & Tiao
1973, Bayesian Inference in Statistical Analysis, ch. 5 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from meltdoe.fit.draws.pattern_draws import systematic

__all__ = ["ScaleLattice", "make_lattice"]

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int_]
LogHeight = Callable[[IntArray, Array], Array]

_REACH = 4.0  # prior sds of a scale either way that are looked at
_SCOUTS = 17  # nodes of each that find where the lattice belongs
_DEEP = 8.0  # log units below the top that it holds
_NEGLIGIBLE = 10.0  # log units below the best pattern where a pattern is left out
_EDGE = 1e-9
_EVERYWHERE = 0.03  # share of the draws that goes to all nodes alike


@dataclass(frozen=True, slots=True, eq=False)
class ScaleLattice:
    """The density.

    Attributes
    ----------
    patterns : (P,) index of each pattern that is kept.
    share : (P, I, J) probability of the tent over each node, or of the node itself along an axis without a scale.
    first, step : first node and spacing of each scale.
    """

    patterns: IntArray
    share: Array
    first: tuple[float, ...]
    step: tuple[float, ...]

    def draw(self, count: int, rng: np.random.Generator) -> tuple[IntArray, Array]:
        """Places in `patterns` (count,) and scales (number of scales, count)."""
        owner = np.unravel_index(systematic(self.share.ravel(), count, rng), self.share.shape)
        at = np.array(owner[1:], dtype=float)
        n = len(self.step)
        at[:n] += rng.random((n, count)) + rng.random((n, count)) - 1.0
        return owner[0], np.array(self.first)[:, None] + np.array(self.step)[:, None] * at[:n]

    def log_density(self, place: IntArray, scales: Array) -> Array:
        """Log density (count,) of places and scales."""
        at = np.zeros((2, place.size))
        for i, value in enumerate(scales):
            # Rounding must not carry a draw from the edge over it, where there is no density.
            at[i] = np.clip((value - self.first[i]) / self.step[i], -1.0 + _EDGE, self.share.shape[1 + i] - _EDGE)
        below = np.floor(at).astype(int)
        part = at - below
        padded = np.pad(self.share, ((0, 0), (1, 1), (1, 1)))
        density = np.zeros(place.size)
        for up in product((0, 1), (0, 1)):
            weight = np.prod([part[i] if up[i] else 1.0 - part[i] for i in (0, 1)], axis=0)
            density += weight * padded[place, below[0] + 1 + up[0], below[1] + 1 + up[1]]
        return np.asarray(np.log(density) - np.log(self.step).sum())

    def shared_out(self, share: Array) -> ScaleLattice:
        """The same with these shares (P,) of the patterns, each spread over its nodes as before."""
        nodes = self.share / self.share.sum(axis=(1, 2), keepdims=True)
        return replace(self, share=share[:, None, None] * nodes)

    def nearest(self, scales: Array) -> IntArray:
        """(count,) index in I x J of the node nearest to scales (number of scales, count)."""
        at = np.zeros((2, scales.shape[1]), dtype=int)
        for i, value in enumerate(scales):
            place = np.rint((value - self.first[i]) / self.step[i]).astype(int)
            at[i] = np.clip(place, 0, self.share.shape[1 + i] - 1)
        return np.asarray(at[0] * self.share.shape[2] + at[1])


def make_lattice(
    log_height: LogHeight, patterns: BoolArray, mean: Array, sd: Array, nodes: Sequence[int]
) -> ScaleLattice:
    """The lattice of one outcome.

    Parameters
    ----------
    log_height : log density (m,) of patterns by index (m,) and scales (number of scales, m), up to a constant.
    patterns : (P, n_factors) all patterns.
    mean, sd : prior mean and sd of each scale; of two at most.
    nodes : number of nodes along each.
    """
    axes: list[Array] = []
    if mean.size:
        scouts = np.flatnonzero(patterns.all(axis=1) | ~patterns.any(axis=1))
        wide = [centre + width * np.linspace(-_REACH, _REACH, _SCOUTS) for centre, width in zip(mean, sd, strict=True)]
        heights = _heights(log_height, scouts, wide)
        # All factors together hold the fit of any of them, however little chance that pattern has: its own top counts.
        top = np.where(patterns[scouts].all(axis=1), heights.max(axis=(1, 2)), heights.max())
        tall = (heights > top[:, None, None] - _DEEP).any(axis=0)
        axes = [_over(axis, tall.any(axis=1 - i), nodes[i]) for i, axis in enumerate(wide)]
    kept = np.arange(len(patterns))
    if mean.size:
        heights = _heights(log_height, kept, [axis[[len(axis) // 3, -1 - len(axis) // 3]] for axis in axes])
        kept = np.flatnonzero((heights > heights.max(axis=0) - _NEGLIGIBLE).any(axis=(1, 2)))
    heights = _heights(log_height, kept, axes)
    share = np.exp(heights - logsumexp(heights))
    share = (1.0 - _EVERYWHERE) * share + _EVERYWHERE / share.size
    return ScaleLattice(kept, share, tuple(float(a[0]) for a in axes), tuple(float(a[1] - a[0]) for a in axes))


def _over(axis: Array, tall: BoolArray, nodes: int) -> Array:
    """Evenly spaced nodes over the part of an axis that is tall, and one spacing beyond."""
    at = np.flatnonzero(tall)
    return np.linspace(axis[max(at[0] - 1, 0)], axis[min(at[-1] + 1, len(axis) - 1)], nodes)


def _heights(log_height: LogHeight, patterns: IntArray, axes: Sequence[Array]) -> Array:
    """(P, I, J) log heights of patterns at all nodes; along an axis without a scale there is one."""
    shape = (len(patterns), *(len(axis) for axis in axes), 1, 1)[:3]
    place = np.indices(shape).reshape(3, -1)
    scales = np.array([axis[place[1 + i]] for i, axis in enumerate(axes)]).reshape(len(axes), place.shape[1])
    return log_height(patterns[place[0]], scales).reshape(shape)

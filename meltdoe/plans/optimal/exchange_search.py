"""The working part of coordinate exchange: many designs at once, one coordinate at a time.

A batch holds S designs of n runs. Independent runs have M = M0 + X'X. Runs that share firings have (sigma_melt = 1,
eta = sigma_firing^2 / sigma_melt^2, firing w of m_w runs)

    M = M0 + sum_w [ X_w'X_w - c_w (X_w'1)(X_w'1)' ],   c_w = eta / (1 + m_w eta)

(Goos and Vandebroek 2001, J. Qual. Technol. 33). Changing one run changes M by U'CU with few rows in U: old and new
model row, and old and new firing total. With D = M^-1 and A = I + C U D U',

    |M_new| / |M| = |A|                                      (matrix determinant lemma)
    tr(W M^-1) falls by tr( A^-1 C U D W D U' )              (Woodbury)

so that all levels of a coordinate in all S designs are judged by small products. A setting shared by a firing of m
runs changes m rows at once: there U holds 2m rows, (I - c 11')^(1/2) times the new and the old ones. D is inverted
afresh after every sweep, since updates drift.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from meltdoe.plans.optimal.model_matrix import FloatArray, Limit, Model, feasible

__all__ = ["Batch", "Setting", "information"]

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
# candidate levels of factor j where the designs now have x (S,): shape (L,) or (S, L)
Levels = Callable[[int, FloatArray], FloatArray]

_GAIN = 1e-8
_LEAP = 1e3
# new and old row, new and old total of the firing, from the new row, the old row and the old total
_OF_RUN = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [1.0, -1.0, 1.0], [0.0, 0.0, 1.0]])


@dataclass(frozen=True, eq=False)
class Setting:
    """What is fixed during a search.

    Parameters
    ----------
    model : expansion of raw settings.  limits : predicates on raw settings.
    firings : row numbers of each firing; empty where runs are independent.
    shrink : c_w of each firing.
    fixed : (p, p) information that is there already: earlier runs, prior precision, a small ridge.
    weight : (p, p) W of a criterion tr(W M^-1) to be made small; None for log |M| to be made large.
    limited : factors that the limits look at; None where that is not known.
    """

    model: Model
    limits: tuple[Limit, ...]
    firings: tuple[IntArray, ...]
    shrink: FloatArray
    fixed: FloatArray
    weight: FloatArray | None
    limited: frozenset[int] | None = None


def information(rows: FloatArray, firings: Sequence[IntArray], shrink: FloatArray) -> FloatArray:
    """M of model rows (..., n, p) without the fixed part, shape (..., p, p)."""
    found = np.swapaxes(rows, -1, -2) @ rows
    for members, c in zip(firings, shrink, strict=True):
        total = rows[..., members, :].sum(axis=-2)
        found = found - c * total[..., :, None] * total[..., None, :]
    return np.asarray(found)


class Batch:
    """S designs that are improved together.

    Parameters
    ----------
    setting : what is fixed.
    raw : (S, n, k) raw settings; copied.
    """

    def __init__(self, setting: Setting, raw: FloatArray) -> None:
        self.setting = setting
        self.raw = raw.copy()
        self.rows = setting.model.rows(self.raw)
        n = raw.shape[1]
        self.firing_of = np.zeros(n, dtype=np.int64)
        for w, members in enumerate(setting.firings):
            self.firing_of[members] = w
        self.rebuild()

    def rebuild(self) -> None:
        """M, its inverse and D W D afresh from the rows."""
        self.M = information(self.rows, self.setting.firings, self.setting.shrink) + self.setting.fixed
        self._invert()

    def _invert(self) -> None:
        self.D = np.asarray(np.linalg.inv(self.M))
        self.Q = None if self.setting.weight is None else self.D @ self.setting.weight @ self.D

    def take(self, which: BoolArray | IntArray) -> Batch:
        """A new batch of some of the designs."""
        return Batch(self.setting, self.raw[which])

    def put(self, which: BoolArray | IntArray, other: Batch) -> None:
        """Write designs back that were taken out."""
        self.raw[which], self.rows[which], self.M[which], self.D[which] = other.raw, other.rows, other.M, other.D
        if self.Q is not None and other.Q is not None:
            self.Q[which] = other.Q

    def values(self) -> FloatArray:
        """What is made large, per design: log |M| or -tr(W M^-1); -inf where M is not positive definite."""
        if self.setting.weight is None:
            sign, logdet = np.linalg.slogdet(self.M)
            return np.asarray(np.where(sign > 0, logdet, -np.inf))
        return np.asarray(-np.einsum("ij,sji->s", self.setting.weight, self.D))

    def sweep(self, levels: Levels, factors: Sequence[int] | None = None) -> BoolArray:
        """Visit every coordinate of every design once; True for the designs that changed, shape (S,).

        Parameters
        ----------
        factors : places of the factors to visit; all where None.
        """
        changed = np.zeros(len(self.raw), dtype=bool)
        visited = range(self.raw.shape[2]) if factors is None else factors
        shared = [j for j in visited if self.setting.model.factors[j].per_firing and self.setting.firings]
        for w, members in enumerate(self.setting.firings):
            for j in shared:
                changed |= self._change_firing(w, members, j, levels)
        for i in range(self.raw.shape[1]):
            for j in visited:
                if j not in shared:
                    changed |= self._change_run(i, j, levels)
        self.rebuild()
        return changed

    def _candidates(self, now: FloatArray, j: int, levels: Levels) -> FloatArray:
        """Raw settings with factor j at each level: (S, ..., k) to (S, L, ..., k)."""
        trial = levels(j, now[:, j] if now.ndim == 2 else now[:, 0, j])
        raw = np.repeat(now[:, None], trial.shape[-1], axis=1)
        raw[..., j] = trial if now.ndim == 2 else trial[..., None]
        return raw

    def _change_run(self, i: int, j: int, levels: Levels) -> BoolArray:
        raw = self._candidates(self.raw[:, i], j, levels)[:, :, None]
        beside = self.rows[:, i : i + 1]
        mix: FloatArray | None = None
        signs: FloatArray = np.array([1.0, -1.0])
        if self.setting.firings:
            w = self.firing_of[i]
            total = self.rows[:, self.setting.firings[w]].sum(axis=1, keepdims=True)
            beside = np.concatenate([beside, total], axis=1)
            c = float(self.setting.shrink[w])
            mix, signs = _OF_RUN, np.array([1.0, -1.0, -c, c])
        return self._change(np.array([i]), j, raw, beside, mix, signs)

    def _change_firing(self, w: int, members: IntArray, j: int, levels: Levels) -> BoolArray:
        raw = self._candidates(self.raw[:, members], j, levels)
        m, c = len(members), float(self.setting.shrink[w])
        # I - c 11' is the square of I - b 11'
        root: FloatArray = np.eye(m) - (1.0 - np.sqrt(1.0 - m * c)) / m
        mix = np.block([[root, np.zeros((m, m))], [np.zeros((m, m)), root]])
        return self._change(members, j, raw, self.rows[:, members], mix, np.repeat([1.0, -1.0], m))

    def _change(
        self, at: IntArray, j: int, raw: FloatArray, beside: FloatArray, mix: FloatArray | None, signs: FloatArray
    ) -> BoolArray:
        """Put the best level in the rows `at`.

        Parameters
        ----------
        raw : (S, L, m, k) settings of these rows at each level.
        beside : (S, q, p) what stays the same over levels and takes part in the change: old rows, the firing's total.
        mix : (r, m + q) U of the module from the new rows and `beside`; None where it is these.
        signs : (r,) the diagonal of C.
        """
        new = self.setting.model.rows(raw)
        A = signs[:, None] * _products(new, beside, self.D, mix)
        A += np.eye(len(signs))
        ratio = _determinant(A)
        if self.Q is None:
            gain = ratio - 1.0
        else:
            B = signs[:, None] * _products(new, beside, self.Q, mix)
            safe = np.where((np.abs(ratio) > 1e-9)[..., None, None], A, np.eye(len(signs)))
            fall = np.trace(np.linalg.solve(safe, B), axis1=-2, axis2=-1)
            # a determinant near zero is a design near singular: the trace would blow up, not fall
            gain = np.where(ratio > 1e-9, fall / self._trace()[:, None], -np.inf)
        pick, better = self._choose(gain, raw, j)
        which = np.flatnonzero(better)
        if not len(which):
            return better
        chosen = (which, pick[which])
        u = np.concatenate([new[chosen], beside[which]], axis=1)
        u = u if mix is None else mix @ u
        self.M[which] += np.swapaxes(u, -1, -2) @ (signs[:, None] * u)
        # a step out of a singular design loses all digits of an update: invert afresh
        leap = (ratio[chosen] > _LEAP) | (ratio[chosen] < 1.0 / _LEAP)
        self.D[which[leap]] = np.linalg.inv(self.M[which[leap]])
        small = which[~leap]
        ud = u[~leap] @ self.D[small]
        self.D[small] -= np.swapaxes(ud, -1, -2) @ np.linalg.solve(A[small, pick[small]], signs[:, None] * ud)
        if self.setting.weight is not None and self.Q is not None:
            self.Q[which] = self.D[which] @ self.setting.weight @ self.D[which]
        self.raw[which[:, None], at] = raw[chosen]
        self.rows[which[:, None], at] = new[chosen]
        return better

    def _choose(self, gain: FloatArray, raw: FloatArray, j: int) -> tuple[IntArray, BoolArray]:
        """Best feasible level of factor j per design, and whether it is worth taking."""
        if self.setting.limits and (self.setting.limited is None or j in self.setting.limited):
            gain = np.where(feasible(self.setting.limits, raw).all(axis=-1), gain, -np.inf)
        gain = np.where(np.isfinite(gain), gain, -np.inf)
        pick = np.argmax(gain, axis=1)
        return pick, np.asarray(gain[np.arange(len(gain)), pick] > _GAIN)

    def _trace(self) -> FloatArray:
        assert self.setting.weight is not None
        return np.asarray(np.maximum(np.einsum("ij,sji->s", self.setting.weight, self.D), 1e-300))


def _products(new: FloatArray, beside: FloatArray, D: FloatArray, mix: FloatArray | None) -> FloatArray:
    """U D U' for every level, shape (S, L, r, r): U is `mix` times new rows (S, L, m, p) over `beside` (S, q, p)."""
    designs, levels, m, p = new.shape
    flat = new.reshape(designs, levels * m, p)
    side = np.swapaxes(beside, -1, -2)
    with_D = flat @ D
    found = np.empty((designs, levels, m + beside.shape[1], m + beside.shape[1]))
    if m == 1:
        found[:, :, 0, 0] = (with_D * flat).sum(axis=-1)
    else:
        found[:, :, :m, :m] = with_D.reshape(new.shape) @ np.swapaxes(new, -1, -2)
    found[:, :, :m, m:] = (with_D @ side).reshape(designs, levels, m, -1)
    found[:, :, m:, :m] = np.swapaxes(found[:, :, :m, m:], -1, -2)
    found[:, :, m:, m:] = (beside @ D @ side)[:, None]
    return found if mix is None else np.asarray(mix @ found @ mix.T)


def _determinant(A: FloatArray) -> FloatArray:
    """Determinants (..., r, r) to (...); written out for r = 2, where it is the whole cost."""
    if A.shape[-1] == 2:
        return np.asarray(A[..., 0, 0] * A[..., 1, 1] - A[..., 0, 1] * A[..., 1, 0])
    return np.asarray(np.linalg.det(A))

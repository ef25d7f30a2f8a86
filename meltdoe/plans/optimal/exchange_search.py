"""The working part of coordinate exchange: many designs at once, one coordinate at a time.

A batch holds S designs of n runs. Independent runs have M = M0 + X'X. Runs that share firings have (sigma_melt = 1,
eta = sigma_firing^2 / sigma_melt^2, firing w of m_w runs)

    M = M0 + sum_w [ X_w'X_w - c_w (X_w'1)(X_w'1)' ],   c_w = eta / (1 + m_w eta)

(Goos and Vandebroek 2001, J. Qual. Technol. 33). Changing one run changes M by U'CU with few rows in U: old and new
model row, and old and new firing total. With D = M^-1 and A = I + C U D U',

    |M_new| / |M| = |A|                                      (matrix determinant lemma)
    tr(W M^-1) falls by tr( A^-1 C U D W D U' )              (Woodbury)

so that all levels of a coordinate in all S designs are judged by small products. A setting shared by a firing changes
all its rows; there M is formed anew for every level. D is inverted afresh after every sweep, since updates drift.
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
    """

    model: Model
    limits: tuple[Limit, ...]
    firings: tuple[IntArray, ...]
    shrink: FloatArray
    fixed: FloatArray
    weight: FloatArray | None


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
        self.D = np.linalg.inv(self.M)
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

    def sweep(self, levels: Levels) -> BoolArray:
        """Visit every coordinate of every design once; True for the designs that changed, shape (S,)."""
        changed = np.zeros(len(self.raw), dtype=bool)
        shared = [
            j for j, factor in enumerate(self.setting.model.factors) if factor.per_firing and self.setting.firings
        ]
        for w, members in enumerate(self.setting.firings):
            for j in shared:
                changed |= self._change_firing(w, members, j, levels)
        for i in range(self.raw.shape[1]):
            for j in range(self.raw.shape[2]):
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
        raw = self._candidates(self.raw[:, i], j, levels)
        new = self.setting.model.rows(raw)
        designs, count, p = new.shape
        old = self.rows[:, i]
        if self.setting.firings:
            w = self.firing_of[i]
            total = self.rows[:, self.setting.firings[w]].sum(axis=1)
            c = float(self.setting.shrink[w])
            U = np.empty((designs, count, 4, p))
            U[:, :, 2] = new - old[:, None] + total[:, None]
            U[:, :, 3] = total[:, None]
            signs = np.array([1.0, -1.0, -c, c])
        else:
            U = np.empty((designs, count, 2, p))
            signs = np.array([1.0, -1.0])
        U[:, :, 0] = new
        U[:, :, 1] = old[:, None]
        UD = (U.reshape(designs, -1, p) @ self.D).reshape(U.shape)
        A = signs[:, None] * (UD @ np.swapaxes(U, -1, -2))
        A[..., np.arange(len(signs)), np.arange(len(signs))] += 1.0
        ratio = _determinant(A)
        if self.Q is None:
            gain = ratio - 1.0
        else:
            UQ = (U.reshape(designs, -1, p) @ self.Q).reshape(U.shape)
            B = signs[:, None] * (UQ @ np.swapaxes(U, -1, -2))
            safe = np.where((np.abs(ratio) > 1e-9)[..., None, None], A, np.eye(len(signs)))
            fall = np.trace(np.linalg.solve(safe, B), axis1=-2, axis2=-1)
            # a determinant near zero is a design near singular: the trace would blow up, not fall
            gain = np.where(ratio > 1e-9, fall / self._trace()[:, None], -np.inf)
        pick, better = self._choose(gain, raw)
        if not better.any():
            return better
        which = np.flatnonzero(better)
        chosen = (which, pick[which])
        u = U[chosen]
        self.M[which] += np.swapaxes(u, -1, -2) @ (signs[:, None] * u)
        # a step out of a singular design loses all digits of an update: invert afresh
        leap = (ratio[chosen] > _LEAP) | (ratio[chosen] < 1.0 / _LEAP)
        self.D[which[leap]] = np.linalg.inv(self.M[which[leap]])
        small = which[~leap]
        ud = UD[small, pick[small]]
        self.D[small] -= np.swapaxes(ud, -1, -2) @ np.linalg.solve(A[small, pick[small]], signs[:, None] * ud)
        if self.setting.weight is not None and self.Q is not None:
            self.Q[which] = self.D[which] @ self.setting.weight @ self.D[which]
        self.raw[which, i] = raw[chosen]
        self.rows[which, i] = new[chosen]
        return better

    def _change_firing(self, w: int, members: IntArray, j: int, levels: Levels) -> BoolArray:
        raw = self._candidates(self.raw[:, members], j, levels)
        new = self.setting.model.rows(raw)
        own: list[IntArray] = [np.arange(len(members))]
        c = self.setting.shrink[[w]]
        trial = (self.M - information(self.rows[:, members], own, c))[:, None] + information(new, own, c)
        if self.setting.weight is None:
            sign, logdet = np.linalg.slogdet(trial)
            now = np.linalg.slogdet(self.M)[1]
            with np.errstate(over="ignore"):
                gain = np.where(sign > 0, np.expm1(np.minimum(logdet - now[:, None], 50.0)), -np.inf)
        else:
            fall = self._trace()[:, None] - np.einsum("ij,slji->sl", self.setting.weight, np.linalg.inv(trial))
            gain = fall / self._trace()[:, None]
            gain = np.where((gain < 1.0) & (np.linalg.slogdet(trial)[0] > 0), gain, -np.inf)
        pick, better = self._choose(gain, raw)
        which = np.flatnonzero(better)
        if len(which):
            chosen = (which, pick[which])
            self.raw[which[:, None], members] = raw[chosen]
            self.rows[which[:, None], members] = new[chosen]
            self.M[which] = trial[chosen]
            self._invert()
        return better

    def _choose(self, gain: FloatArray, raw: FloatArray) -> tuple[IntArray, BoolArray]:
        """Best feasible level per design, and whether it is worth taking."""
        if self.setting.limits:
            good = feasible(self.setting.limits, raw)
            gain = np.where(good if good.ndim == 2 else good.all(axis=-1), gain, -np.inf)
        gain = np.where(np.isfinite(gain), gain, -np.inf)
        pick = np.argmax(gain, axis=1)
        return pick, np.asarray(gain[np.arange(len(gain)), pick] > _GAIN)

    def _trace(self) -> FloatArray:
        assert self.setting.weight is not None
        return np.asarray(np.maximum(np.einsum("ij,sji->s", self.setting.weight, self.D), 1e-300))


def _determinant(A: FloatArray) -> FloatArray:
    """Determinants (..., r, r) to (...); written out for r = 2, where it is the whole cost."""
    if A.shape[-1] == 2:
        return np.asarray(A[..., 0, 0] * A[..., 1, 1] - A[..., 0, 1] * A[..., 1, 0])
    return np.asarray(np.linalg.det(A))

"""Search for regular two-level fractions of minimum aberration.

Notation. In N = 2^r runs a factor is a non-zero r-bit number c (a column of the full factorial in r factors: the
product of those whose bit is set). A word is a set of factors whose columns multiply to the identity; A_j counts the
words of length j. Minimum aberration makes A_3 smallest, then A_4, and so on (Fries and Hunter 1980, Technometrics 22;
Chen, Sun and Wu 1993, Int. Statist. Rev. 61).

Method. With row weights w_a = #{i : parity(a & c_i) = 1}, a = 0..N-1, the MacWilliams identity gives
A_j = N^-1 sum_a K_j(w_a), K_j(w) = sum_s (-1)^s C(w, s) C(k - w, j - s), without listing words (as in Cheng and
Tang 2005, Ann. Statist. 33, from memory). Exchanging one column moves every weight by at most one, so the patterns of
all exchanges of all restarts come from one matrix product.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations
from math import comb

import numpy as np
import numpy.typing as npt

__all__ = ["clear_pairs", "column_parity", "in_first_independent", "search", "search_clear", "word_length_pattern"]

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]

_RESTARTS = 128
_CLEAR_RESTARTS = 60
_SWEEPS = 30
# N * A_j <= 2^k <= 2^15 for k <= 15, so three counts pack exactly into one float64
_PACK = 2.0**15


@lru_cache(maxsize=8)
def column_parity(runs: int) -> FloatArray:
    """1 where row a has an odd overlap with column c, shape (runs, runs); indices a and c."""
    overlap = np.arange(runs)[:, None] & np.arange(runs)[None, :]
    parity = np.zeros((runs, runs))
    while overlap.any():
        parity = np.where(overlap & 1, 1.0 - parity, parity)
        overlap = overlap >> 1
    return parity


@lru_cache(maxsize=32)
def _krawtchouk(k: int) -> FloatArray:
    """K_j(w) for j, w = 0..k, shape (k + 1, k + 1)."""
    return np.array(
        [
            [sum((-1) ** s * comb(w, s) * comb(k - w, j - s) for s in range(j + 1)) for w in range(k + 1)]
            for j in range(k + 1)
        ],
        dtype=float,
    )


def word_length_pattern(columns: Sequence[int], runs: int) -> tuple[int, ...]:
    """(A_3, ..., A_k) of the fraction whose factors are `columns`."""
    k = len(columns)
    weights = column_parity(runs)[:, list(columns)].sum(axis=1).astype(int)
    counts = _krawtchouk(k) @ np.bincount(weights, minlength=k + 1) / runs
    return tuple(int(count) for count in np.rint(counts[3:]))


def clear_pairs(columns: Sequence[int]) -> list[tuple[int, int]]:
    """Pairs of factors whose interaction is aliased with no main effect and no other two-factor interaction."""
    pairs = list(combinations(range(len(columns)), 2))
    products = [columns[i] ^ columns[j] for i, j in pairs]
    taken = set(columns)
    return [
        pair for pair, product in zip(pairs, products, strict=True)
        if product not in taken and products.count(product) == 1
    ]  # fmt: skip


def in_first_independent(columns: Sequence[int]) -> list[int]:
    """The same fraction, written on its first independent factors: these become the columns 1, 2, 4, ...

    A product of columns is an exclusive or, so this is elimination over the two-element field.
    """
    pivots: dict[int, tuple[int, int]] = {}  # leading bit -> (reduced column, its combination of basic factors)
    rewritten = []
    for column in columns:
        rest, combination = column, 0
        while rest and rest.bit_length() in pivots:
            reduced, parts = pivots[rest.bit_length()]
            rest, combination = rest ^ reduced, combination ^ parts
        if rest:
            own = 1 << len(pivots)
            pivots[rest.bit_length()] = (rest, combination ^ own)
            combination = own
        rewritten.append(combination)
    return rewritten


def _tiers(k: int) -> tuple[FloatArray, FloatArray]:
    """Weight scores whose sums over rows order fractions by (A_3, A_4, A_5) and by (A_6, A_7, A_8)."""
    table = np.vstack([_krawtchouk(k), np.zeros((max(0, 8 - k), k + 1))])
    powers = _PACK ** np.array([2.0, 1.0, 0.0])
    return powers @ table[3:6], powers @ table[6:9]


def search(k: int, runs: int, seed: int = 1) -> list[int]:
    """Columns of a minimum aberration fraction of k factors; the first r are the basic ones.

    The r basic columns are kept, the k - r added ones are exchanged one at a time in all restarts at once. Among the
    best fractions found, the one with most clear two-factor interactions is taken, then the smallest column numbers.
    """
    r = runs.bit_length() - 1
    basic = [1 << i for i in range(r)]
    if k == r:
        return basic
    rng = np.random.default_rng(seed)
    parity = column_parity(runs)
    first, second = _tiers(k)
    pool = np.setdiff1d(np.arange(1, runs), basic)
    columns = np.empty((_RESTARTS, k), dtype=np.int64)
    columns[:, :r] = basic
    columns[:, r:] = rng.permuted(np.tile(pool, (_RESTARTS, 1)), axis=1)[:, : k - r]
    weights = parity[:, columns].sum(axis=2).T
    rows = np.arange(_RESTARTS)
    for sweep in range(_SWEEPS):
        improved = False
        for j in rng.permutation(np.arange(r, k)):
            without = (weights - parity[:, columns[:, j]].T).astype(int)
            # adding column c raises the weight of row a by parity[a, c]: the score is linear in that column
            score = (first[without + 1] - first[without]) @ parity + first[without].sum(axis=1, keepdims=True)
            finer = (second[without + 1] - second[without]) @ parity + second[without].sum(axis=1, keepdims=True)
            score[:, 0] = np.inf
            np.put_along_axis(score, np.delete(columns, j, axis=1), np.inf, axis=1)
            least = score.min(axis=1, keepdims=True)
            finer = np.where(score <= least, finer, np.inf)
            least_finer = finer.min(axis=1, keepdims=True)
            # equally good exchanges are drawn at random: walking along a plateau leaves many local optima
            pick = np.argmax((finer <= least_finer) * rng.random(finer.shape), axis=1)
            old = columns[:, j]
            improved |= bool(((score[rows, old] > least[:, 0]) | (finer[rows, old] > least_finer[:, 0])).any())
            columns[:, j] = pick
            weights = without + parity[:, pick].T
        if not improved and sweep >= 3:
            break
    found: set[tuple[int, ...]] = {tuple(basic + sorted(added, key=_by_letters)) for added in columns[:, r:].tolist()}

    def rank(candidate: tuple[int, ...]) -> tuple[tuple[int, ...], int, tuple[int, ...]]:
        return word_length_pattern(candidate, runs), -len(clear_pairs(candidate)), candidate

    best = min(found, key=rank)
    return list(best)


def _by_letters(column: int) -> tuple[int, list[int]]:
    """Order of generators as in textbooks: short products first, then alphabetically."""
    letters = [i for i in range(column.bit_length()) if column >> i & 1]
    return len(letters), letters


def search_clear(k: int, runs: int, clear: Sequence[tuple[int, int]], seed: int = 1) -> list[int] | None:
    """Columns that keep the pairs in `clear` clear, of least aberration among those found; None if none was found.

    Each factor's column is exchanged in turn for the one with fewest aliases of the pairs in `clear`, ties by (A_3,
    A_4, A_5), from many random starts.
    """
    rng = np.random.default_rng(seed)
    parity = column_parity(runs)
    first, _ = _tiers(k)
    wanted = np.asarray(clear, dtype=np.int64)
    left, right = np.triu_indices(k, 1)
    numbers = np.arange(1, runs)
    best: tuple[tuple[int, ...], list[int]] | None = None
    hits = 0
    for _start in range(_CLEAR_RESTARTS):
        columns = rng.permutation(numbers)[:k]
        current = (np.inf, np.inf)
        for _sweep in range(_SWEEPS):
            before = current
            for j in rng.permutation(k):
                trial = np.tile(columns, (runs - 1, 1))
                trial[:, j] = numbers
                target = trial[:, wanted[:, 0]] ^ trial[:, wanted[:, 1]]
                products = trial[:, left] ^ trial[:, right]
                aliases = (products[:, :, None] == target[:, None, :]).sum(axis=(1, 2)) - len(wanted)
                aliases = aliases + (trial[:, :, None] == target[:, None, :]).sum(axis=(1, 2))
                without = np.delete(columns, j)
                weights = parity[:, without].sum(axis=1).astype(int)
                score = (first[weights + 1] - first[weights]) @ parity[:, 1:] + first[weights].sum()
                barred = np.isin(numbers, without)
                order = np.lexsort((rng.random(runs - 1), score, aliases, barred))
                columns[j] = numbers[order[0]]
                current = (float(aliases[order[0]]), float(score[order[0]]))
            if current >= before:
                break
        full_rank = (
            len({c for c in in_first_independent(columns.tolist()) if c & (c - 1) == 0}) == runs.bit_length() - 1
        )
        if current[0] > 0 or not full_rank:
            continue
        pattern = word_length_pattern(columns.tolist(), runs)
        hits = hits + 1 if best is not None and pattern == best[0] else hits
        if best is None or pattern < best[0]:
            best, hits = (pattern, columns.tolist()), 1
        if hits >= 8:
            break
    return None if best is None else in_first_independent(best[1])

"""Two-level designs split into blocks (days, crucible batches, kilns) at the least loss.

The runs are divided by the signs of q interaction columns into 2^q blocks; these columns and all their products then
carry the difference between blocks and tell nothing else (Box, Hunter and Hunter 1978, Statistics for Experimenters,
chapter 10, from memory). Every choice of q columns is tried: the best loses fewest main effects, then fewest two-factor
interactions, and so on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from meltdoe.plans.fractions.fractional import Fraction
from meltdoe.plans.fractions.minimum_aberration import column_parity

__all__ = ["Blocking", "blocks"]

IntArray = npt.NDArray[np.int64]

_BLOCKS = (2, 4, 8)


@dataclass(frozen=True, eq=False)
class Blocking:
    """How the runs of a two-level design are divided into blocks.

    Parameters
    ----------
    design : the design that is divided, its runs in standard order.
    words : what is lost to blocks: the shortest effect of each lost column; the generating ones first.
    confounded_by_length : number of main effects, two-factor interactions, ... up to all factors, that are lost.
    columns : numbers of the generating columns.
    """

    design: Fraction
    words: tuple[str, ...]
    confounded_by_length: tuple[int, ...]
    columns: tuple[int, ...]

    @cached_property
    def block(self) -> IntArray:
        """Block of each run, counted from 1, shape (runs,); block 1 has every generating column low."""
        low = (self.design.runs - 1) ^ np.arange(self.design.runs)
        high = column_parity(self.design.runs)[low][:, list(self.columns)] == 0
        return np.asarray(1 + high @ (1 << np.arange(len(self.columns))), dtype=np.int64)


def blocks(design: Fraction, count: int) -> Blocking:
    """Divide a full or fractional two-level design into `count` equal blocks.

    Parameters
    ----------
    count : 2, 4 or 8 blocks of at least two runs each.

    Raises
    ------
    ValueError
        For another number of blocks, or where every choice would lose a main effect.
    """
    runs, k = design.runs, len(design.factors)
    if count not in _BLOCKS or count > runs // 2:
        raise ValueError(
            f"{runs} runs divide into {', '.join(str(b) for b in _BLOCKS if b <= runs // 2)} blocks, not {count}"
        )
    subsets = np.arange(1, 2**k)
    product = np.zeros(2**k, dtype=np.int64)
    for i, column in enumerate(design.columns):
        product[1 << i : 2 << i] = product[: 1 << i] ^ column
    size = np.array([int(s).bit_count() for s in subsets])
    carried = np.zeros((runs, k), dtype=np.int64)  # effects of each length that each column carries
    np.add.at(carried, (product[1:], size - 1), 1)

    bases = _subspaces(runs, count.bit_length() - 1)
    lost = np.zeros((len(bases), 1), dtype=np.int64)
    for column in bases.T:
        lost = np.hstack([lost, lost ^ column[:, None]])
    pattern = carried[lost[:, 1:]].sum(axis=1)
    best = int(np.lexsort((*bases.T, *pattern.T[::-1]))[0])
    if pattern[best, 0]:
        raise ValueError(
            f"{k} factors in {runs} runs leave no column free for {count} blocks; take fewer blocks or more runs"
        )
    shortest: dict[int, str] = {}
    for members, column in sorted(
        zip(subsets.tolist(), product[1:].tolist(), strict=True), key=lambda pair: pair[0].bit_count()
    ):
        shortest.setdefault(column, design.word(i for i in range(k) if members >> i & 1))
    generating = [1 << i for i in range(bases.shape[1])]
    order = generating + [i for i in range(1, count) if i not in generating]
    return Blocking(
        design=design,
        words=tuple(shortest[int(lost[best, i])] for i in order),
        confounded_by_length=tuple(int(n) for n in pattern[best]),
        columns=tuple(int(c) for c in bases[best]),
    )


def _subspaces(runs: int, dimension: int) -> IntArray:
    """Every set of `dimension` independent columns that differs in its products, one basis a row."""
    numbers = np.arange(1, runs)
    leading = np.array([1 << (int(c).bit_length() - 1) for c in numbers])
    basis = numbers[:, None]
    for _ in range(1, dimension):
        old, new = (grid.ravel() for grid in np.meshgrid(np.arange(len(basis)), numbers - 1, indexing="ij"))
        before, added = basis[old], numbers[new]
        lead = leading[before - 1]
        # reduced echelon form: leading bits rise, and no basis column holds another's leading bit
        keep = (lead < leading[new][:, None]).all(axis=1) & ((added[:, None] & lead) == 0).all(axis=1)
        basis = np.column_stack([before[keep], added[keep]])
    return np.asarray(basis, dtype=np.int64)

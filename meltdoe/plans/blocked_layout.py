"""Melts spread over blocks (days, lots of material, two kilns) and, inside each, over firings.

A two-level fraction says itself which melts belong together (`meltdoe.plans.fractions.blocking`). Any other table is
dealt out as firings are (`meltdoe.plans.layout.deal`): so that the blocks are as alike as they can be. Where something
is set per firing, whole firings are dealt out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from meltdoe.plans.layout import Layout, balanced_columns, deal, even_sizes, lay_out
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series.coding import Coding
from meltdoe.series.factor import FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.terms import cross_terms, main_terms

__all__ = ["BlockedLayout", "blocked_layout"]

IntArray = npt.NDArray[np.int64]

_CARRIED = 0.9  # share of an effect's variation between blocks from which they carry it: as for firings
_NOTICED = 0.05


@dataclass(frozen=True, eq=False)
class BlockedLayout:
    """Rows of a table in the order of the work, block after block.

    Parameters
    ----------
    layout : order and firings; a firing lies within one block.
    block : (n_melts,) block of each row of the table, counted from 1.
    carried : what the blocks carry, in words.
    """

    layout: Layout
    block: IntArray
    carried: str


def blocked_layout(
    series: MeltSeries,
    raw: FloatArray,
    groups: IntArray,
    count: int,
    rng: np.random.Generator,
    given: IntArray | None = None,
) -> BlockedLayout:
    """Divide a table into `count` blocks and lay each out into firings.

    Parameters
    ----------
    raw : (n_melts, n_factors).  groups : (n_melts,) which melts may share a firing.
    given : (n_melts,) block of each melt, from 0, where the pattern says so.

    Raises
    ------
    PlanImpossible
        Where there are fewer melts, or firings, than blocks.
    """
    coding, per_firing = series.coding, series.kiln.melts_per_firing
    if count > len(raw):
        raise PlanImpossible(f"{len(raw)} melts cannot be spread over {count} blocks", "ask for fewer blocks")
    if given is not None:
        block = given
    elif series.per_firing:
        block = _firings_dealt(coding, raw, lay_out(raw, coding, per_firing, groups, rng), count, rng)
    else:
        block = deal(balanced_columns(raw, coding), even_sizes(len(raw), count), rng)
    block = rng.permutation(count)[block]
    orders, firings, made = [], [], 0
    for number in range(count):
        rows = np.flatnonzero(block == number)
        part = lay_out(raw[rows], coding, per_firing, groups[rows], rng)
        orders.append(rows[part.order])
        firings.append(part.firing + made)
        made += int(part.firing.max()) + 1
    layout = Layout(np.concatenate(orders), np.concatenate(firings))
    return BlockedLayout(layout, block + 1, _carried_words(coding, raw, block))


def _firings_dealt(coding: Coding, raw: FloatArray, layout: Layout, count: int, rng: np.random.Generator) -> IntArray:
    """Block of each row, whole firings kept together."""
    made = int(layout.firing.max()) + 1
    if count > made:
        raise PlanImpossible(f"{made} firings cannot be spread over {count} blocks", "ask for fewer blocks")
    columns = balanced_columns(raw, coding)
    sums = np.zeros((made, columns.shape[1]))
    np.add.at(sums, layout.firing, (columns - columns.mean(axis=0))[layout.order])
    of_firing = deal(sums, even_sizes(made, count), rng)
    block = np.empty(len(raw), dtype=np.int64)
    block[layout.order] = of_firing[layout.firing]
    return block


def _carried_words(coding: Coding, raw: FloatArray, block: IntArray) -> str:
    """Which effects cannot be told from differences between blocks, and how far main effects go with them."""
    mains = main_terms(coding.factors)
    shares = {term: _between(coding.term_columns(term, raw), block) for term in (*mains, *cross_terms(coding.factors))}
    lost = [str(term) for term, share in shares.items() if share >= _CARRIED]
    partly = max((shares[term] for term in mains if shares[term] < _CARRIED), default=0.0)
    said = [f"they carry {', '.join(lost)}, which cannot be told from differences between blocks"] if lost else []
    if partly > _NOTICED:
        said.append(f"up to {100 * partly:.0f} % of a main effect goes with them")
    return "; ".join(said) or "no main effect goes with them, and no interaction of two factors is lost to them"


def _between(columns: FloatArray, block: IntArray) -> float:
    """Largest share of a column's variation that lies between blocks."""
    centred = columns - columns.mean(axis=0)
    sums = np.zeros((int(block.max()) + 1, columns.shape[1]))
    np.add.at(sums, block, centred)
    total = (centred**2).sum(axis=0)
    between = (sums**2 / np.bincount(block)[:, None]).sum(axis=0)
    return float(np.max(between[total > 1e-9] / total[total > 1e-9], initial=0.0))

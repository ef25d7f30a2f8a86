"""Which factors matter most for the whole chain, and the tables of settings that turn one or two of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.report.plain_text import one_line
from meltdoe.series.factor import FloatArray

__all__ = ["held_phrase", "ranked_factors", "turned"]

_STEPS = 7  # settings of each factor that are looked at
_THIN = 8  # a ranking needs no fine draws
_MOST_NAMED = 6


def ranked_factors(chain: ChainFit, best: BestSetting) -> tuple[int, ...]:
    """Positions of the factors, first the one that moves the mean chance of success most as it alone is turned."""
    tables = [turned(best.raw, {i: factor.grid(_STEPS)}) for i, factor in enumerate(chain.series.factors)]
    mean = chain.success_draws(np.concatenate(tables), thin=_THIN).mean(axis=0)
    ends = np.cumsum([len(table) for table in tables])
    moved = [float(np.ptp(part)) for part in np.split(mean, ends[:-1])]
    return tuple(sorted(range(len(moved)), key=lambda i: (-round(moved[i], 6), i)))


def turned(base: FloatArray, values: dict[int, FloatArray]) -> FloatArray:
    """Every combination of the values by position of the factor, the others as in `base`: (n, n_factors).

    The last factor named runs fastest.
    """
    grids = np.meshgrid(*values.values(), indexing="ij")
    table = np.tile(np.asarray(base, dtype=float), (grids[0].size, 1))
    for position, grid in zip(values, grids, strict=True):
        table[:, position] = grid.ravel()
    return table


def held_phrase(chain: ChainFit, best: BestSetting, turned_factors: Sequence[int]) -> str:
    """At which settings the factors that are not turned stand; empty where all are turned."""
    held = [factor for i, factor in enumerate(chain.series.factors) if i not in turned_factors]
    if not held:
        return ""
    named = one_line(chain.series.show({f.name: best.settings[f.name] for f in held[:_MOST_NAMED]}))
    more = f" and {len(held) - _MOST_NAMED} more" if len(held) > _MOST_NAMED else ""
    return f"held at the best setting: {named}{more}"

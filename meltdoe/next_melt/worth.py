"""What a melt costs, losses included, and how likely a costly failure is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.next_melt.information import StageView, reach_chances
from meltdoe.next_melt.views import RANKING_DRAWS, chain_views
from meltdoe.series.budget import Costs
from meltdoe.series.factor import FloatArray

__all__ = ["Worth", "expected_worth", "melt_price"]


@dataclass(frozen=True, eq=False)
class Worth:
    """Money and risk of one melt at each candidate; arrays of shape (n_candidates,).

    Parameters
    ----------
    price : melt and its losses as expected, without the firing.
    loss : the part of the price that is expected loss.
    costly_failure : chance of an outcome that has a loss to it.
    """

    price: FloatArray
    loss: FloatArray
    costly_failure: FloatArray


def expected_worth(costs: Costs, names: Sequence[str], stages: Sequence[StageView]) -> Worth:
    """Price and risk from the predictive chances of the stages.

    Parameters
    ----------
    names : the outcome of each stage, in the order of `stages`.
    """
    reached = reach_chances(stages)
    loss = np.zeros(reached.shape[1])
    costly = np.zeros(reached.shape[1])
    for k, (name, stage) in enumerate(zip(names, stages, strict=True)):
        amount = costs.loss.get(name, 0.0)
        if amount > 0.0:
            fails = reached[k] * (1.0 - stage.good_draws.mean(axis=0))
            loss += amount * fails
            costly += fails
    return Worth(price=costs.melt + loss, loss=loss, costly_failure=np.minimum(costly, 1.0))


def melt_price(chain: ChainFit, raw: FloatArray) -> float:
    """Price expected for a melt at one setting, losses included and the firing not."""
    views = chain_views(chain, raw, RANKING_DRAWS, in_full=False)
    return float(expected_worth(chain.series.costs, views.names, views.stages).price[0])

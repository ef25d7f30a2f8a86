"""Information that can be seen: what one melt is expected to teach, stage by stage.

Notation: stage k of the chain has outcome Y_k with categories c, parameters theta_k with posterior draws s = 1..S, and
P_k[s, x, c] = Pr(Y_k = c | theta_k^s, setting x, stage reached). The posteriors of the stages are independent, so

    I(x) = I_1(x) + p_1(x) I_2(x) + p_1(x) p_2(x) I_3(x) + ...
    I_k(x) = H( mean_s P_k[s, x, .] ) - mean_s H( P_k[s, x, .] )

with H the entropy in nats and p_k the predictive chance that stage k is good (Lindley 1956, Ann. Math. Stat. 27:986;
the mutual-information form of Houlsby et al. 2011, arXiv:1112.5745). A measurement enters by cutting its scale into
cells half a standard deviation wide, which loses about one per cent of its information and makes censoring exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import entr, ndtr

from meltdoe.series.factor import FloatArray

__all__ = ["StageView", "entropy", "measured_cells", "outcome_information", "reach_chances", "staged_information"]

BoolArray: TypeAlias = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class StageView:
    """One stage seen from the candidates.

    Parameters
    ----------
    probabilities : (n_draws, n_candidates, n_categories), chance of each category given that the stage is reached.
    good : (n_categories,), which categories let the work go on and count as good.
    after : position of the forerunner in the list of stages, or None.
    counts : whether the stage enters success; one that is only described earns no melts.
    """

    probabilities: FloatArray
    good: BoolArray
    after: int | None
    counts: bool = True

    @cached_property
    def good_draws(self) -> FloatArray:
        """Chance of good by draw and candidate, shape (n_draws, n_candidates)."""
        places = np.flatnonzero(self.good)
        if len(places) == 1:
            return np.ascontiguousarray(self.probabilities[:, :, places[0]])
        return np.asarray(self.probabilities @ self.good.astype(float))

    def at(self, candidates: npt.NDArray[np.intp]) -> StageView:
        """The same stage seen from some of the candidates."""
        return StageView(self.probabilities[:, candidates], self.good, self.after, self.counts)


def entropy(probabilities: FloatArray) -> FloatArray:
    """Entropy in nats over the last axis."""
    return np.asarray(entr(probabilities) @ np.ones(probabilities.shape[-1]))  # quicker than a sum over a short axis


def outcome_information(probabilities: FloatArray) -> FloatArray:
    """Mutual information of one outcome and its parameters, nats, shape (n_candidates,)."""
    known = entropy(probabilities).mean(axis=0)
    return np.asarray(np.maximum(entropy(probabilities.mean(axis=0)) - known, 0.0))


def reach_chances(stages: Sequence[StageView]) -> FloatArray:
    """Predictive chance that each stage is reached, shape (n_stages, n_candidates)."""
    reached = np.ones((len(stages), stages[0].probabilities.shape[1]))
    for k, stage in enumerate(stages):
        if stage.after is not None:
            reached[k] = reached[stage.after] * stages[stage.after].good_draws.mean(axis=0)
    return reached


def staged_information(stages: Sequence[StageView]) -> FloatArray:
    """What each stage is expected to teach, weighed by the chance of reaching it, shape (n_stages, n_candidates).

    The sum over stages is I(x). Stages that are only described contribute nothing.
    """
    reached = reach_chances(stages)
    rows = [
        reached[k] * outcome_information(stage.probabilities) if stage.counts else np.zeros(reached.shape[1])
        for k, stage in enumerate(stages)
    ]
    return np.array(rows)


def measured_cells(
    mean: FloatArray,
    sigma: FloatArray,
    good: tuple[float, float] | None,
    bounds: tuple[float, float] | None,
    most: int = 48,
) -> tuple[FloatArray, BoolArray]:
    """Cut a measured outcome into cells.

    Parameters
    ----------
    mean : (n_draws, n_candidates), expected measurement by draw.
    sigma : (n_draws,), standard deviation of one measurement by draw.
    good : ends of the good range (either may be infinite), which become cell ends; None where nothing is good.
    bounds : smallest and largest possible value; all that lies beyond is seen as the bound itself.
    most : largest number of cells.

    Returns
    -------
    (n_draws, n_candidates, n_cells) probabilities and (n_cells,) whether a cell is good.
    """
    spread = float(np.median(sigma))
    low, high = float(mean.min()) - 3.0 * spread, float(mean.max()) + 3.0 * spread
    if bounds is not None:
        low, high = max(low, bounds[0]), min(high, bounds[1])
    inner = (
        np.linspace(low, high, int(np.clip(np.ceil((high - low) / (0.5 * spread)), 2, most - 2)) + 1)
        if high > low
        else np.array([low])
    )
    ends = [e for e in good or () if np.isfinite(e)]
    edges = np.unique(np.concatenate([inner, ends]))
    if bounds is not None:  # everything beyond a bound is censored there, and lies in the cell next to it
        edges = edges[(edges > bounds[0]) & (edges < bounds[1])]
    z = (edges - mean[:, :, None]) / sigma[:, None, None]
    below = np.concatenate([np.zeros((*mean.shape, 1)), ndtr(z), np.ones((*mean.shape, 1))], axis=2)
    full = np.concatenate([[-np.inf], edges, [np.inf]])
    inside = np.zeros(len(full) - 1, dtype=bool)
    if good is not None:
        least, most_good = good
        if bounds is not None:  # a good range that ends on a bound goes on beyond it
            least = -np.inf if least <= bounds[0] else least
            most_good = np.inf if most_good >= bounds[1] else most_good
        inside = (full[:-1] >= least) & (full[1:] <= most_good)
    return np.diff(below, axis=2), inside

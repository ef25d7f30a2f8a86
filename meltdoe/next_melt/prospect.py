"""What is said early where going on will hardly end in certainty: how far off the target is, what has to move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from meltdoe.next_melt.forecast import Forecast
from meltdoe.next_melt.moves import Move
from meltdoe.series.factor import FloatArray

__all__ = ["Prospect", "poor", "prospect_of"]

_NEARLY_ALL = 0.95  # share of the series played on that never become sure of the target
_HARDLY_ANY = 0.10  # share of them that reach it all the same
_MORE_CHANCE = 0.02  # by which a moved bound has to raise the best chance to be worth a word


@dataclass(frozen=True, slots=True)
class Prospect:
    """Why going on will hardly end in certainty.

    Parameters
    ----------
    sight : "out of sight" where hardly any of the series played on reach the target, whether they are sure of it or
        not; "too short" where they do, and only the budget ends before that is shown.
    likely_best : as likely as not, the best of all settings succeeds no more often than this.
    longer : the series played on beyond the budget; None where it sets no bound, or a later one.
    moves : limits and ends of ranges that would raise the best chance, the most helpful first.
    """

    sight: Literal["out of sight", "too short"]
    likely_best: float
    longer: Forecast | None
    moves: tuple[Move, ...]


def poor(forecast: Forecast) -> bool:
    """Whether nearly none of the series played on become sure of the target."""
    return forecast.never > _NEARLY_ALL


def prospect_of(
    forecast: Forecast, longer: Forecast | None, success: FloatArray, best: float, moves: Sequence[Move]
) -> Prospect:
    """Put together what is to be said where the forecast is poor.

    Parameters
    ----------
    success : (n_draws, n_settings) chance of success by posterior draw at the most hopeful settings.
    best : chance of success at the best setting.
    moves : every bound moved in thought.
    """
    helpful = sorted((move for move in moves if move.chance > best + _MORE_CHANCE), key=lambda move: -move.chance)
    return Prospect(
        "out of sight" if forecast.works < _HARDLY_ANY else "too short",
        float(np.median(success.max(axis=1))),
        longer,
        tuple(helpful),
    )

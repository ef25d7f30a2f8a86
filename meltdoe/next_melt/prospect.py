"""What is said early where going on will hardly end in certainty: how far off the target is, what has to move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from meltdoe.next_melt.forecast import Forecast
from meltdoe.next_melt.moves import Move

__all__ = ["Prospect", "hardly_reached", "poor", "prospect_of"]

_NEARLY_ALL = 0.95  # share of the series played on that never become sure of the target
_HARDLY_ANY = 0.10  # share of them that reach it all the same
_SPOKEN_AGAINST = 0.25  # chance that it can be reached had both answers been equally likely before the first melt
_MORE_CHANCE = 0.02  # by which a moved bound has to raise the best chance to be worth a word


@dataclass(frozen=True, slots=True)
class Prospect:
    """Why going on will hardly end in certainty.

    Parameters
    ----------
    sight : "out of sight" where hardly any of the series played on reach the target, sure of it or not, and it is the
        melts that speak against it, not what was assumed before them; else "too short": the budget ends too early.
    longer : the series played on beyond the budget; None where it sets no bound, or a later one.
    moves : limits and ends of ranges that would raise the best chance, the most helpful first.
    """

    sight: Literal["out of sight", "too short"]
    longer: Forecast | None
    moves: tuple[Move, ...]


def poor(forecast: Forecast) -> bool:
    """Whether nearly none of the series played on become sure of the target."""
    return forecast.never > _NEARLY_ALL


def hardly_reached(forecast: Forecast) -> bool:
    """Whether hardly any of the series played on reach the target, sure of it or not."""
    return forecast.works < _HARDLY_ANY


def prospect_of(
    forecast: Forecast,
    longer: Forecast | None,
    even_odds: float,
    best: float,
    moves: Sequence[Move],
) -> Prospect:
    """Put together what is to be said where the forecast is poor.

    Parameters
    ----------
    even_odds : chance that any setting reaches the target, had both answers been equally likely before the first melt.
    best : chance of success at the best setting.
    moves : every bound moved in thought.
    """
    helpful = sorted((move for move in moves if move.chance > best + _MORE_CHANCE), key=lambda move: -move.chance)
    return Prospect(
        "out of sight" if hardly_reached(forecast) and even_odds < _SPOKEN_AGAINST else "too short",
        longer,
        tuple(helpful),
    )

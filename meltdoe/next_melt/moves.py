"""Bounds that stand in the way: what each limit and each end of a range keeps from the target."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.plans.optimal.candidates import candidate_settings
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series.factor import Amount, FloatArray

__all__ = ["Move", "all_moves", "moves_that_help"]

_LOOKED_AT = 1500  # settings looked at without a limit
_BEYOND = 0.25  # share of a range by which one of its ends is moved in thought
_MORE_REACHABLE = 0.01


@dataclass(frozen=True, slots=True)
class Move:
    """A bound that stands in the way.

    Parameters
    ----------
    what : "limit", "low end" or "high end".
    name : the factor, or the limit as it is written.
    to : where the end would have to go; None for a limit.
    reachable : chance that some setting then reaches the target, the fit carried on beyond what was melted.
    chance : chance of success then at the best setting, likewise.
    """

    what: Literal["limit", "low end", "high end"]
    name: str
    to: float | None
    reachable: float
    chance: float


def all_moves(chain: ChainFit, settings: FloatArray, thin: int = 1) -> tuple[Move, ...]:
    """Every limit dropped and every end of a range moved by a quarter of it, one at a time and in thought.

    Parameters
    ----------
    settings : (n, n_factors) the most hopeful settings within the bounds. thin : use every `thin`-th draw.
    """
    series = chain.series
    here = chain.success_draws(settings, thin=thin)
    inside, best = (here >= series.target_chance).any(axis=1), float(here.mean(axis=0).max())

    def moved(what: Literal["limit", "low end", "high end"], name: str, to: float | None, raw: FloatArray) -> Move:
        if not len(raw):
            return Move(what, name, to, float(inside.mean()), best)
        there = chain.success_draws(raw, thin=thin)
        reaches = inside | (there >= series.target_chance).any(axis=1)
        return Move(what, name, to, float(reaches.mean()), max(best, float(there.mean(axis=0).max())))

    found: list[Move] = []
    ends: tuple[tuple[Literal["low end", "high end"], float], ...]
    ends = (("low end", -1.0 - 2.0 * _BEYOND), ("high end", 1.0 + 2.0 * _BEYOND))
    for i, factor in enumerate(series.factors):
        if not isinstance(factor, Amount):
            continue
        for end, coded in ends:
            to = float(f"{factor.decoded(np.array([coded]))[0]:.3g}")
            raw = settings.copy()
            raw[:, i] = to
            if to >= 0.0 or factor.low < 0.0:  # what cannot be negative is not sent there
                found.append(moved(end, factor.name, to, raw[series.allowed(raw)]))
    for limit in (limit for limit in series.limits if limit.movable):
        others = replace(series, limits=tuple(other for other in series.limits if other is not limit))
        try:
            raw = candidate_settings(others, _LOOKED_AT, chain.seed)
        except PlanImpossible:
            continue
        raw = raw[~series.allowed(raw)]
        hopeful = np.argsort(-chain.success_draws(raw, thin=8).mean(axis=0), kind="stable")[: len(settings)]
        found.append(moved("limit", limit.keep, None, raw[hopeful]))
    return tuple(found)


def moves_that_help(moves: Sequence[Move], reachable: float) -> tuple[Move, ...]:
    """The moves that raise the chance that any setting reaches the target, the most helpful first.

    Parameters
    ----------
    reachable : that chance as things stand.
    """
    helpful = [move for move in moves if move.reachable > reachable + _MORE_REACHABLE]
    return tuple(sorted(helpful, key=lambda move: -move.reachable))

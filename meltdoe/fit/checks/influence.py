"""How much hangs on each melt: leave one out, and see whether the recommendation changes; and which melts surprise.

Leaving out works by `meltdoe.fit.checks.leave_one_out`. A change of setting counts only where the old setting would be
clearly worse: neighbouring settings whose chances hardly differ change places for nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from meltdoe.fit.checks.leave_one_out import LeftOut, Sides, leave_out, sides_of_seen
from meltdoe.fit.stages.best_setting import BestSetting, settable_candidates
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.log.melt_log import Entry
from meltdoe.series.factor import FloatArray
from meltdoe.series.outcome import Outcome

__all__ = ["Influence", "MeltInfluence", "Surprise", "influence"]

_CLEARLY = 0.05  # gain in chance from which another setting counts as another recommendation (our choice)
_SURE = 0.90  # chance of reaching the target that counts as reached, as where a series is advised to stop
_UNLIKELY = 0.05  # foretold chance, of what was seen or something further out, that counts as a surprise
_THIN, _FINALISTS, _DRAWS = 8, 32, 1000


@dataclass(frozen=True, slots=True)
class MeltInfluence:
    """What would be recommended without one melt.

    Attributes
    ----------
    best : the best setting without it, among all that can be set.
    chance_at_present_best : chance of success, without it, at the setting that is now the best.
    other_setting : whether another setting would be recommended, by a clear margin.
    verdict_changes : whether the answer to "is the target reached with 90 % probability?" changes.
    refitted : outcomes that had to be fitted again for it.
    """

    melt: int
    best: BestSetting
    chance_at_present_best: float
    other_setting: bool
    verdict_changes: bool
    refitted: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Surprise:
    """What was seen of one outcome in one casting, against what the other melts foretell.

    Attributes
    ----------
    chance : chance of what was seen or of something further out on the same side; smallest of the two sides.
    side : the side it lies on: small or large values, best or worst grades, no or yes.
    """

    entry: Entry
    outcome: Outcome
    chance: float
    side: Literal["low", "high"]

    @property
    def surprising(self) -> bool:
        """Whether it was unlikely enough to name."""
        return self.chance < _UNLIKELY


@dataclass(frozen=True, slots=True)
class Influence:
    """All melts left out in turn.

    Attributes
    ----------
    best : the present best setting. melts : one for each melt with something seen, in order of their numbers.
    seen : one for every outcome seen in a casting, least likely first.
    surprises_expected : how many of `seen` would be surprising if the model were right.
    """

    best: BestSetting
    melts: tuple[MeltInfluence, ...]
    seen: tuple[Surprise, ...]
    surprises_expected: float

    @property
    def surprises(self) -> tuple[Surprise, ...]:
        return tuple(one for one in self.seen if one.surprising)


def influence(chain: ChainFit, best: BestSetting | None = None, *, beliefs: bool = True) -> Influence:
    """Leave out every melt in turn.

    Parameters
    ----------
    best : the best setting where it has been found already.
    beliefs : whether the beliefs of the series took part in the fit.

    Raises
    ------
    Inestimable
        Where no setting keeps every limit.
    """
    present = chain.best() if best is None else best
    numbers = sorted({melt for stage in chain.stages for melt in stage.data.melts})
    left = {m: [leave_out(chain, i, m, beliefs=beliefs) for i in range(len(chain.stages))] for m in numbers}
    tables = _candidates(chain, present, left)
    scores = _scores(chain, left, tables)
    melts = tuple(_without_melt(chain, present, m, parts, tables[m], scores[m]) for m, parts in left.items())
    seen, expected = [], 0.0
    for m, parts in left.items():
        for i, part in enumerate(parts):
            sides = sides_of_seen(chain, i, m, part)
            outcome = chain.stages[i].outcome
            seen += _surprises(chain, outcome, sides)
            expected += sides.expected_beyond(_UNLIKELY)
    ordered = sorted(seen, key=lambda one: (one.chance, one.entry.melt, one.entry.mould))
    return Influence(present, melts, tuple(ordered), expected)


def _candidates(chain: ChainFit, present: BestSetting, left: dict[int, list[LeftOut]]) -> dict[int, FloatArray]:
    """For each melt the settings that look best without it, and the present best as the first: (n, n_factors)."""
    if not any(stage.outcome.counts for stage in chain.stages):
        return dict.fromkeys(left, present.raw[None])
    table, _ = settable_candidates(chain.series, chain.log.raw)
    coarse = [stage.chance_draws(table, thin=_THIN) for stage in chain.stages]
    found = {}
    for melt, parts in left.items():
        score = np.ones(len(table))
        for part, draws, stage in zip(parts, coarse, chain.stages, strict=True):
            if part.stage is not stage:
                score *= part.stage.chance_draws(table, thin=_THIN).mean(axis=0)
            else:
                weights = part.weights[::_THIN]
                score *= weights @ draws / weights.sum()
        top = np.argsort(-score, kind="stable")[:_FINALISTS]
        found[melt] = np.vstack([present.raw, table[top]])
    return found


def _scores(chain: ChainFit, left: dict[int, list[LeftOut]], tables: dict[int, FloatArray]) -> dict[int, FloatArray]:
    """Mean chance of success without each melt at its settings; a setting that serves many melts is reckoned once."""
    if not tables:
        return {}
    rows, place = np.unique(np.vstack(list(tables.values())), axis=0, return_inverse=True)
    places = np.split(place.ravel(), np.cumsum([len(table) for table in tables.values()])[:-1])
    at = dict(zip(tables, places, strict=True))
    scores = {melt: np.ones(len(table)) for melt, table in tables.items()}
    for i, stage in enumerate(chain.stages):
        draws = stage.chance_draws(rows)
        for melt, parts in left.items():
            part = parts[i]
            own = part.stage is not stage  # draws of its own
            scores[melt] *= part.mean_chance(tables[melt]) if own else (part.weights @ draws)[at[melt]]
    return scores


def _without_melt(
    chain: ChainFit,
    present: BestSetting,
    melt: int,
    parts: list[LeftOut],
    table: FloatArray,
    score: FloatArray,
) -> MeltInfluence:
    top = int(np.argmax(score))  # the present best comes first, so it wins ties
    draws = np.ones((_DRAWS, 2))
    for i, part in enumerate(parts):
        draws *= part.drawn(_DRAWS, chain.seed + i).chance_draws(table[[top, 0]])
    low, high = np.quantile(draws[:, 0], [(1 - chain.level) / 2, (1 + chain.level) / 2])
    reaches = (draws >= chain.series.target_chance).mean(axis=0)
    best = BestSetting(
        settings=chain.series.settings(table[top]),
        raw=table[top],
        chance=float(score[top]),
        low=float(low),
        high=float(high),
        chance_reaches_target=float(reaches[0]),
    )
    return MeltInfluence(
        melt=melt,
        best=best,
        chance_at_present_best=float(score[0]),
        other_setting=bool(score[top] - score[0] >= _CLEARLY),
        verdict_changes=bool((reaches[0] >= _SURE) != (present.chance_reaches_target >= _SURE)),
        refitted=tuple(part.stage.outcome.name for part in parts if part.refitted),
    )


def _surprises(chain: ChainFit, outcome: Outcome, sides: Sides) -> list[Surprise]:
    return [
        Surprise(chain.log.entries[row], outcome, float(min(low, high)), "low" if low < high else "high")
        for row, low, high in zip(sides.rows, sides.so_low, sides.so_high, strict=True)
    ]

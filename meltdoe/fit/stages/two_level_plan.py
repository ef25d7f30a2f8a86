"""A two-level plan judged as such: every effect with its other names, which stand out, and whether the middle bends.

Effects and margins are those of `meltdoe.fit.classical.half_normal` (Lenth 1989); what is mixed up with what is read
off the settings that were melted. Only where the melts are a regular table: all columns of effects either the same (up
to the sign) or at right angles, nothing repeated except the middle, no firing shared by several melts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.half_normal import Curvature, LenthResult, curvature, lenth, two_level_effects
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.plans.merits.aliasing import AliasGroup
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries

__all__ = ["TwoLevelAnalysis", "TwoLevelEffect", "two_level_analysis"]

_NEAR = 0.1  # coded distance from a level that still counts as that level (our choice)
_FEWEST_EFFECTS = 7  # with fewer the method has little to stand on
_LONGEST = 3  # factors in the longest interaction that is named as another name of an effect
_ALL_TERMS = 7  # up to so many factors every product is looked at, beyond it those of at most four


@dataclass(frozen=True, slots=True)
class TwoLevelEffect:
    """One effect: mean at the high levels minus mean at the low ones, in the outcome's unit.

    Attributes
    ----------
    names : the effect and everything of up to three factors that it is mixed up with.
    stands_out : beyond the margin of a single effect.
    stands_out_of_all : beyond the margin of the largest of all effects.
    """

    names: AliasGroup
    effect: float
    stands_out: bool
    stands_out_of_all: bool

    @property
    def name(self) -> str:
        return self.names.effects[0]


@dataclass(frozen=True, slots=True, eq=False)
class TwoLevelAnalysis:
    """All effects of one measured outcome, the largest first.

    Attributes
    ----------
    corners, centres : melts at the two levels, and in the middle.
    lenth : margins. few : whether there are too few effects to judge noise by them.
    curvature : corners against the middle, or None; `why_no_curvature` then says why.
    """

    outcome: str
    unit: str
    corners: tuple[int, ...]
    centres: tuple[int, ...]
    effects: tuple[TwoLevelEffect, ...]
    lenth: LenthResult
    few: bool
    curvature: Curvature | None
    why_no_curvature: str


def two_level_analysis(stage: StageFit) -> TwoLevelAnalysis | None:
    """Judge the rows of an outcome as a two-level plan; None where they are not a regular one."""
    series, data = stage.series, stage.data
    if stage.outcome.kind != "measured" or series.moulds_per_melt > 1 or data.groups is not None or data.n_seen < 4:
        return None
    if data.censored.any() or any(not isinstance(f, Amount) and len(f.options) != 2 for f in series.factors):
        return None
    coded = np.column_stack([series.coding.factor_columns(name, data.raw) for name in series.factor_names])
    amounts = [i for i, factor in enumerate(series.factors) if isinstance(factor, Amount)]
    corner = (np.abs(np.abs(coded) - 1.0) <= _NEAR).all(axis=1)
    centre = (np.abs(coded[:, amounts]) <= _NEAR).all(axis=1) & bool(amounts)
    table, y = np.sign(coded[corner]), data.y[corner]
    if not (corner | centre).all() or len(table) < 4 or len(np.unique(table, axis=0)) < len(table):
        return None
    order = None if table.shape[1] <= _ALL_TERMS else 4
    try:
        found = two_level_effects(table, y, order)
        judged = lenth(found.effects, stage.level)
    except Inestimable:
        return None
    columns = np.column_stack([table[:, list(term)].prod(axis=1) for term in found.terms])
    between = columns.T @ columns
    if np.abs(between - len(table) * np.eye(len(between))).max() > 0 or np.abs(columns.sum(axis=0)).max() > 0:
        return None
    groups = [
        _group(series.factor_names, table, (term, *(t for t in others if len(t) <= _LONGEST)))
        for term, others in zip(found.terms, found.aliases, strict=True)
    ]
    out, most = judged.beyond_margin, judged.beyond_simultaneous_margin
    effects = [
        TwoLevelEffect(groups[i], float(found.effects[i]), bool(out[i]), bool(most[i]))
        for i in np.argsort(-np.abs(found.effects), kind="stable")
    ]
    bend, why_not = _curvature(series, y, data.y[centre], stage.level)
    melts = np.array(data.melts)
    return TwoLevelAnalysis(
        outcome=stage.outcome.name,
        unit=stage.outcome.unit,
        corners=tuple(sorted(int(melt) for melt in melts[corner])),
        centres=tuple(sorted(int(melt) for melt in melts[centre])),
        effects=tuple(effects),
        lenth=judged,
        few=len(effects) < _FEWEST_EFFECTS,
        curvature=bend,
        why_no_curvature=why_not,
    )


def _group(names: tuple[str, ...], table: FloatArray, terms: tuple[tuple[int, ...], ...]) -> AliasGroup:
    joint = "" if all(len(name) == 1 for name in names) else " * "
    columns = [table[:, list(term)].prod(axis=1) for term in terms]
    signs = tuple(1 if float(columns[0] @ column) > 0 else -1 for column in columns)
    return AliasGroup(tuple(joint.join(names[i] for i in term) for term in terms), signs)


def _curvature(
    series: MeltSeries, corners: FloatArray, centre: FloatArray, level: float
) -> tuple[Curvature | None, str]:
    if not len(centre):
        return None, "no melt was made in the middle, so a bend between low and high cannot be seen"
    listed = [factor.name for factor in series.factors if not isinstance(factor, Amount)]
    if listed:
        return None, f"{listed[0]} has no middle, so the melts in the middle are not compared with the corners"
    try:
        return curvature(corners, centre, level), ""
    except Inestimable as error:
        return None, str(error)

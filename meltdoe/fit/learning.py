"""Everything that is to be learnt beside the fit itself: how far it can be trusted, and what follows from it.

One function gathers the findings of the modules that make them; each stays out where the melts do not allow it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from meltdoe.fit.checks.belief_check import BeliefCheck, belief_check
from meltdoe.fit.checks.drift import Drift, drifts
from meltdoe.fit.checks.influence import Influence, influence
from meltdoe.fit.checks.model_checks import RepeatCheck, proportionality_check, repeat_check
from meltdoe.fit.checks.past_fits import PastFits
from meltdoe.fit.checks.past_predictions import PastPredictions, past_predictions
from meltdoe.fit.classical.agreement import Agreement, graded_twice
from meltdoe.fit.classical.proportional_odds import ProportionalityTest
from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_surface import StageSurface, stage_surface
from meltdoe.fit.stages.stage_thresholds import stage_thresholds
from meltdoe.fit.stages.thresholds import Threshold
from meltdoe.fit.stages.two_level_plan import TwoLevelAnalysis, two_level_analysis

__all__ = ["Learning", "StageLearning", "learning"]


@dataclass(frozen=True, slots=True, eq=False)
class StageLearning:
    """Findings on one outcome; None or empty where the melts do not allow them."""

    outcome: str
    thresholds: tuple[Threshold, ...]
    two_level: TwoLevelAnalysis | None
    surface: StageSurface | None
    repeats: RepeatCheck | None
    proportionality: ProportionalityTest | None


@dataclass(frozen=True, slots=True, eq=False)
class Learning:
    """Findings on the whole series.

    Attributes
    ----------
    influence : None without melts, or where no outcome is judged.
    past, drifts, beliefs, chemistry : None where they were not asked for; the last two also where nothing is believed.
    stages : one for each outcome, by name.
    """

    influence: Influence | None
    past: PastPredictions | None
    drifts: tuple[Drift, ...] | None
    beliefs: BeliefCheck | None
    stages: Mapping[str, StageLearning]
    agreements: tuple[Agreement, ...]
    chemistry: BeliefCheck | None = None


def learning(
    chain: ChainFit, best: BestSetting | None = None, *, refits: bool = True, past: PastFits | None = None
) -> Learning:
    """Gather the findings of a fitted chain.

    Parameters
    ----------
    chain : fitted with its beliefs.
    best : the best setting where it has been found already.
    refits : whether to fit again what past predictions, drift and beliefs need, which takes several times as long.
        What beliefs amount to before the first melt is always worked out.
    past : fits of the past where they are shared with others who ask.

    Raises
    ------
    Inestimable
        Where no setting keeps every limit.
    """
    found = chain.best() if best is None else best
    judged = any(stage.outcome.counts for stage in chain.stages)
    some = bool(chain.log.entries)
    thresholds = stage_thresholds(chain, found) if some else {}
    stages = {
        stage.outcome.name: StageLearning(
            outcome=stage.outcome.name,
            thresholds=thresholds.get(stage.outcome.name, ()),
            two_level=two_level_analysis(stage),
            surface=stage_surface(stage) if stage.n_seen else None,
            repeats=repeat_check(stage) if stage.n_seen else None,
            proportionality=proportionality_check(stage),
        )
        for stage in chain.stages
    }
    return Learning(
        influence=influence(chain, found) if some and judged else None,
        past=past_predictions(chain, past) if refits and some and judged else None,
        drifts=drifts(chain) if refits and some else None,
        beliefs=belief_check(chain, found) if refits or not some else None,
        chemistry=belief_check(chain, found, "chemistry") if refits else None,
        stages=stages,
        agreements=graded_twice(chain.series, chain.log, level=chain.level),
    )

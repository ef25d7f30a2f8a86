"""The thresholds worth stating: for every outcome that is judged, where the factors that matter cross the target."""

from __future__ import annotations

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.effects import Effect
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.fit.stages.thresholds import Threshold, threshold
from meltdoe.series.factor import Choice

__all__ = ["matters", "stage_thresholds"]

_INCLUSION = 0.5


def matters(effect: Effect) -> bool:
    """Whether a change seems to matter: more likely than not, or an interval of its change that leaves out zero."""
    if not effect.estimable:
        return False
    if (effect.inclusion or 0.0) >= _INCLUSION:
        return True
    limits = (
        (effect.value_low, effect.value_high)
        if effect.value_low is not None
        else (effect.change_low, effect.change_high)
    )
    low, high = limits
    return low is not None and high is not None and (low > 0 or high < 0)


def stage_thresholds(chain: ChainFit, best: BestSetting) -> dict[str, tuple[Threshold, ...]]:
    """Where each factor that matters takes an outcome across the target chance, the others as in the best setting.

    Returns
    -------
    By name of the outcome, for those that are judged; empty where no amount or ordered factor matters.
    """
    found = {}
    for stage in chain.stages:
        if stage.outcome.counts:
            found[stage.outcome.name] = tuple(
                threshold(stage, name, chain.series.target_chance, best.settings) for name in _factors(stage)
            )
    return found


def _factors(stage: StageFit) -> list[str]:
    """Amounts and ordered factors that matter, in the order of the series."""
    named = {effect.term.factors[0] for effect in stage.effects if len(effect.term.factors) == 1 and matters(effect)}
    return [f.name for f in stage.series.factors if f.name in named and not isinstance(f, Choice)]
